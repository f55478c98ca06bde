"""Nothing is kept without a word: the table of what is kept against everything that keeps something.

OWASP ASVS 5.0: 14.1.1 (sensitive data are identified and classed), 14.1.2 (with their retention), 14.3.3 (a browser's
storage holds none of them).
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from fnmatch import fnmatchcase
from html import unescape
from pathlib import Path

import pytest

from portraitq.house_rules import HouseRules
from portraitq.paths import static
from portraitq.store import schema
from portraitq.store.cards import PERSONAL
from portraitq.web import kept_data
from portraitq.web.kept_data import KEPT
from tests.web.conftest import Web
from tests.web.test_daybook import text_of

SOURCES = sorted((Path(__file__).resolve().parents[2] / "portraitq").rglob("*.py"))


def _listed(what: str) -> list[str]:
    return [name for one in KEPT for name in getattr(one, what)]


def _begins_with_one_of(name: str, beginnings: list[str]) -> bool:
    return sum(name.startswith(one) for one in beginnings) == 1


def test_every_column_of_the_database_has_its_row_and_no_row_a_column_that_is_none() -> None:
    there = [f"{table.name}.{column.name}" for table in schema.metadata.tables.values() for column in table.c]

    assert sorted(_listed("columns")) == sorted(there)


def test_what_erasing_a_card_empties_is_what_is_called_personal_of_it() -> None:
    personal = {column for one in KEPT if one.is_personal for column in one.columns if column.startswith("cards.")}

    assert personal == {f"cards.{name}" for name in PERSONAL}


# What the code may write, read from the code itself


def _calls(tree: ast.AST, name: str) -> Iterator[ast.Call]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == name:
            yield node


def _beginning(value: ast.expr, module: ast.Module) -> str:
    """The letters that the text of `value` is sure to begin with."""
    match value:
        case ast.Constant(value=str(text)):
            return text
        case ast.JoinedStr(values=[ast.Constant(value=str(text)), *_]):
            return text
        case ast.Subscript(value=within):
            return _beginning(within, module)
        case ast.Name(id=name):
            return _beginning(_meant_by(name, module), module)
        case ast.Call(func=ast.Attribute(attr="key"), args=[first, *_]):
            text = _beginning(first, module)
            return text if isinstance(first, ast.JoinedStr) else f"{text}:"
        case ast.Call(func=ast.Name(id=name)):
            return _beginning(_meant_by(name, module), module)
    raise AssertionError(f"a key that can be read from the code was expected, not {ast.unparse(value)}")


def _meant_by(name: str, module: ast.Module) -> ast.expr:
    """What a constant is, or a small function gives; of an imported one, where it comes from is asked."""
    for node in module.body:
        match node:
            case ast.Assign(targets=[ast.Name(id=found)], value=value) if found == name:
                return value
            case ast.Assign(targets=[ast.Tuple(elts=names)], value=ast.Tuple(elts=values)):
                for one, value in zip(names, values, strict=True):
                    if isinstance(one, ast.Name) and one.id == name:
                        return value
            case ast.FunctionDef(name=found, body=[*_, ast.Return(value=ast.expr() as value)]) if found == name:
                return value
            case ast.ImportFrom(module=str(origin), names=names) if name in [one.name for one in names]:
                source = SOURCES[0].parent.parent / f"{origin.replace('.', '/')}.py"
                return _meant_by(name, ast.parse(source.read_text("utf-8")))
    raise AssertionError(f"{name} was expected to be a constant or a function of its module")


def _settings_written() -> dict[str, str]:
    """How the key of each setting that the code writes begins, and where it is written."""
    found = {}
    for source in SOURCES:
        module = ast.parse(source.read_text("utf-8"))
        for call in _calls(module, "put"):
            if isinstance(call.func, ast.Attribute) and ast.unparse(call.func.value) == "settings":
                found[_beginning(call.args[1], module)] = source.name
    return found


def test_every_setting_that_the_code_writes_has_its_row() -> None:
    written = _settings_written()

    assert {"house-rules:", "secret_key", "network_password", "put-away:"} <= set(written)  # it does read them
    assert {key: where for key, where in written.items() if not _begins_with_one_of(key, _listed("settings"))} == {}
    assert [one for one in _listed("settings") if not any(key.startswith(one) for key in written)] == []


def test_every_cookie_has_its_row(web: Web) -> None:
    web.sign_in()
    ticket = web.order()
    web.client.get(f"/quay/slip/{ticket}?paper=58")

    names = {cookie.key for cookie in web.client._cookies.values()}

    assert len(names) == 2
    assert [name for name in names if not _begins_with_one_of(name, _listed("cookies"))] == []


def test_no_other_place_of_the_code_sets_a_cookie() -> None:
    setting = {source.name for source in SOURCES if any(_calls(ast.parse(source.read_text("utf-8")), "set_cookie"))}

    assert setting <= {"cookie.py", "hand_over.py"}  # the sign-in and the paper, both met above


def test_every_key_of_a_browsers_storage_has_its_row_and_is_written_by_a_script() -> None:
    scripts = "".join(file.read_text("utf-8") for file in Path(static(), "js").glob("*.js"))

    written = set(re.findall(r"[\"'`](portraitq-[a-z-]+:?)", scripts)) - {"portraitq-token"}  # that is of the page

    assert written == set(_listed("storage"))
    assert re.findall(r"indexedDB|caches\.|document\.cookie|serviceWorker", scripts) == []


def test_every_file_of_the_data_folder_has_its_row(web: Web, tmp_path: Path) -> None:
    web.order()
    found = [str(file.relative_to(tmp_path)) for file in tmp_path.rglob("*")]

    assert "portraitq.sqlite3" in found
    assert [name for name in found if not any(fnmatchcase(name, pattern) for pattern in _listed("files"))] == []


# The page


@pytest.mark.parametrize("rules", [HouseRules(), HouseRules(keep_h=6, uncollected_days=30)])
def test_until_when_is_said_by_the_booths_own_rule(rules: HouseRules) -> None:
    said = " ".join(row.until for _, rows in kept_data.kept_view(rules) for row in rows)

    assert ("6 hours after that" in said) == (rules.keep_h == 6)
    assert ("30 days on the rack" in said) == (rules.uncollected_days == 30)


def test_the_set_up_shows_every_row_and_of_how_many_something_is_kept_now(web: Web) -> None:
    web.sign_in()
    before = web.client.get("/quay/set-up").get_data(as_text=True)
    ticket = web.order()
    web.desk.change_card(ticket, name="Anouk")
    page = web.client.get("/quay/set-up").get_data(as_text=True)

    assert "Just now nothing personal is kept of any customer." in before
    assert "Just now something personal is kept of 1 portrait." in page
    shown = unescape(text_of(page))
    for _, rows in kept_data.kept_view(web.desk.house_rules()):
        for row in rows:
            assert all(text in shown for text in (row.what, row.why, row.until))
