"""What README.md and DEVELOPERS.md claim, compared with the code, both ways and without a list of exceptions."""

import re
from functools import cache
from pathlib import Path

import click
import pytest
from PIL import Image

from portraitq.cli import main
from portraitq.core.events import KINDS
from portraitq.desk import Desks
from portraitq.store.store import open_store
from portraitq.web.app import create_app

ROOT = Path(__file__).parent.parent
DOCS = ("README.md", "DEVELOPERS.md")
PICTURE_KB, PICTURES_KB = 150, 1000
PATH = re.compile(r"^(?:portraitq|scripts|static|templates|tests)/[\w./-]*$|^[\w-]+\.(?:py|md|toml|txt)$")
ADDRESS = re.compile(r"^/[\w./-]*$")
FLAG = re.compile(r"(?<![\w-])--[a-z][a-z-]*")


@cache
def text_of(doc: str) -> str:
    return (ROOT / doc).read_text(encoding="utf-8")


def all_text() -> str:
    return "\n".join(text_of(doc) for doc in DOCS)


def code_of(text: str) -> list[str]:
    """What is set as code, in the order of the text: spans and the lines of indented and fenced blocks."""
    found, is_fenced = [], False
    for line in text.splitlines():
        if line.startswith("```"):
            is_fenced = not is_fenced
        elif is_fenced or line.startswith("    "):
            found.append(line.strip())
        else:
            found += re.findall(r"`([^`]+)`", line)
    return [code for code in found if code]


def words_of_code() -> set[str]:
    return {word for doc in DOCS for code in code_of(text_of(doc)) for word in re.split(r"[\s,;]+", code)}


@cache
def commands() -> dict[str, set[str]]:
    """Each command as it is typed after `portraitq`, with its options."""

    def within(group: click.Group, before: str):
        for name, command in group.commands.items():
            typed = f"{before}{name}"
            if isinstance(command, click.Group):
                yield from within(command, f"{typed} ")
            else:
                yield typed, long_options(command)

    return dict(within(main, ""))


def long_options(command: click.Command) -> set[str]:
    params = command.get_params(click.Context(command))
    return {opt for param in params if isinstance(param, click.Option) for opt in param.opts if opt.startswith("--")}


def named_on(line: str) -> set[str]:
    """The commands that a line names: `portraitq device add`, `list` names two."""
    found = set()
    for code in re.findall(r"`([^`]+)`", line) or [line]:
        for words in re.findall(r"(?:\bportraitq|scripts/start\.py)((?: [a-z]+)+)", code):
            first, *rest = words.split()
            typed = f"{first} {rest[0]}" if rest and f"{first} {rest[0]}" in commands() else first
            found.add(typed)
    groups = {typed.split()[0] for typed in found if " " in typed}
    spans = re.findall(r"`([a-z]+)`", line)
    return found | {f"{group} {span}" for group in groups for span in spans if f"{group} {span}" in commands()}


# The command line


def test_every_command_is_told_of():
    told = {typed for line in all_text().splitlines() for typed in named_on(line)}

    assert commands().keys() - told == set()


def test_every_command_that_is_told_of_exists():
    lines = [line for line in all_text().splitlines() if "`" in line or line.startswith("    ")]
    told = {typed for line in lines for typed in named_on(line)}

    assert told - commands().keys() == set()


def test_every_option_is_told_of():
    told = set(FLAG.findall(all_text()))
    there = long_options(main).union(*commands().values())

    assert there - told == set()


def test_every_option_that_is_told_of_exists():
    modules = [f"{name.replace('.', '/')}.py" for name in re.findall(r"python -m (tests[.\w]+)", all_text())]
    paths = [path for path in paths_told() if re.fullmatch(r"scripts/\w+\.py", path)] + modules
    scripts = "\n".join((ROOT / path).read_text() for path in paths)
    there = long_options(main).union(*commands().values(), FLAG.findall(scripts))

    assert set(FLAG.findall(all_text())) - there == set()


@pytest.mark.parametrize("line", [line for doc in DOCS for line in text_of(doc).splitlines() if FLAG.search(line)])
def test_an_option_told_of_beside_a_command_is_one_of_that_command(line):
    there = set().union(*(commands()[typed] for typed in named_on(line)))

    assert not there or set(FLAG.findall(line)) <= there | long_options(main)


# The environment


def test_every_variable_that_is_told_of_is_read():
    code = "\n".join(path.read_text() for folder in ("portraitq", "scripts") for path in (ROOT / folder).rglob("*.py"))
    told = set(re.findall(r"\bPORTRAITQ_[A-Z]+\b", all_text()))

    assert told
    assert {name for name in told if name not in code} == set()


@pytest.mark.parametrize("name", ["serve", "demo"])
def test_the_service_takes_each_option_from_the_environment_too(name):
    options = [param for param in main.commands[name].params if isinstance(param, click.Option)]

    assert {param.envvar for param in options} == {f"PORTRAITQ_{param.name.upper()}" for param in options}


# The journal


def test_every_kind_of_the_journal_is_told_of():
    assert KINDS.keys() - words_of_code() == set()


def test_every_kind_in_the_tables_exists():
    told = {span for line in text_of("DEVELOPERS.md").splitlines() for span in re.findall(r"`(\w+)` →", line)}

    assert told
    assert told - KINDS.keys() == set()


# Addresses


@pytest.fixture(scope="module")
def rules(tmp_path_factory):
    """The addresses that answer GET, variables written as README does: /BOOTH/easel/ARTIST."""
    desks = Desks(open_store(tmp_path_factory.mktemp("store")))
    app = create_app(desks, address="http://192.168.4.1:8750")
    app.extensions["portraitq-live"].close()
    desks.close()
    return {
        re.sub(r"<(?:[^>:]*:)?(\w+)>", lambda named: named[1].upper(), rule.rule)
        for rule in app.url_map.iter_rules()
        if "GET" in rule.methods and rule.endpoint != "static"
    }


def addresses_told(doc: str) -> set[str]:
    return {code for code in code_of(text_of(doc)) if ADDRESS.match(code) and code != "/"}


@pytest.mark.parametrize("doc", DOCS)
def test_every_address_that_is_told_of_answers(doc, rules):
    answers = rules | {rule.rsplit("/", up)[0] for rule in rules for up in (1, 2)}  # and what they stand under

    assert addresses_told(doc) - answers == set()


def test_every_screen_of_a_booth_is_told_of_with_its_address(rules):
    screens = {rule for rule in rules if re.fullmatch(r"/BOOTH/[a-z-]+", rule)}
    told = addresses_told("README.md")

    assert len(screens) >= 5
    assert {screen for screen in screens if not any(f"{one}/".startswith(f"{screen}/") for one in told)} == set()


# Files


def paths_told() -> set[str]:
    return {word.rstrip(".") for word in words_of_code() if PATH.match(word.rstrip("."))}


def test_every_file_and_folder_that_is_told_of_exists():
    files = {path.name for folder in ("portraitq", "scripts", "tests") for path in (ROOT / folder).rglob("*.py")}

    missing = {path for path in paths_told() if not (ROOT / path).exists() and path not in files}

    assert len(paths_told()) > 20
    assert missing == set()


def test_every_part_of_the_package_is_on_the_map():
    parts = [
        path for path in (ROOT / "portraitq").iterdir() if not path.name.startswith("_") and path.suffix in ("", ".py")
    ]
    told = {path for path in paths_told() if path.startswith("portraitq/")}

    off_the_map = {
        f"portraitq/{part.name}"
        for part in parts
        if not any(f"{path}/".startswith(f"portraitq/{part.name}/") for path in told)
    }

    assert off_the_map == set()


def test_every_script_and_every_folder_is_on_the_map():
    folders = [path.name for path in ROOT.iterdir() if path.is_dir() and not path.name.startswith((".", "_"))]
    scripts = [f"scripts/{path.name}" for path in (ROOT / "scripts").glob("*.py")]
    told, ignored = words_of_code(), {line.strip("/") for line in (ROOT / ".gitignore").read_text().splitlines()}

    assert {name for name in folders if not any(word.startswith(f"{name}/") for word in told)} - ignored == set()
    assert {script for script in scripts if script not in told and "scripts/" not in told} == set()


@pytest.mark.parametrize("doc", DOCS)
def test_every_link_leads_to_a_file(doc):
    links = [link for link in re.findall(r"\]\(([^)#]+)\)", text_of(doc)) if "://" not in link]

    assert [link for link in links if not (ROOT / link).exists()] == []


# README


def test_readme_opens_with_the_job_in_one_paragraph():
    opening = text_of("README.md").split("\n\n")[0]

    assert re.match(r"[A-Za-z]", opening)  # no title, no badge, no picture
    assert 40 <= len(opening.split()) <= 120
    assert {"artists", "order", "photo", "ready", "ticket", "phone", "booth"} <= set(re.findall(r"\w+", opening))


def test_readmes_pictures_are_there_and_small():
    pictures = re.findall(r"!\[([^\]]+)\]\(([^)]+)\)", text_of("README.md"))
    sizes_kb = {path: (ROOT / path).stat().st_size / 1000 for _, path in pictures}

    assert len(pictures) >= 8
    assert all(said for said, _ in pictures)
    assert {path: size for path, size in sizes_kb.items() if size > PICTURE_KB} == {}
    assert sum(sizes_kb.values()) < PICTURES_KB
    for path in sizes_kb:
        with Image.open(ROOT / path) as image:
            image.verify()
