"""The commands. Results go to stdout, messages to stderr; 0 is done, 1 refused with one sentence, 2 wrong usage."""

from __future__ import annotations

import codecs
import logging
import os
import re
import sys
import tempfile
import unicodedata
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import click

from portraitq import __version__, paths
from portraitq.core.errors import Malformed, Refused, RefusedLine

if TYPE_CHECKING:
    from portraitq.https import HttpsWish

DEFAULT_PORT = 8750
DEFAULT_HTTPS_PORT = 8743
ASK_WIDTH = 100


class Failed(click.ClickException):
    """One sentence on stderr, and exit code 1."""

    def show(self, file: Any = None) -> None:
        """Print the sentence and nothing else."""
        click.echo(" ".join(self.format_message().split()), err=True)  # some servers answer in several lines


class Portraitq(click.Group):
    """The command line: whatever is refused further down becomes its sentence here, in one place."""

    def invoke(self, ctx: click.Context) -> Any:
        """Run a command."""
        from portraitq.desk import NoSuchBooth, NoSuchTicket
        from portraitq.serve import CannotServe
        from portraitq.store.store import StoreError

        try:
            return super().invoke(ctx)
        except (Refused, RefusedLine, Malformed, NoSuchBooth, NoSuchTicket, CannotServe, StoreError) as no:
            raise Failed(str(no)) from no
        except BrokenPipeError:
            _reader_is_gone()


def _reader_is_gone() -> NoReturn:
    """`portraitq export | head` reads no more: that is no failure."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    sys.exit(0)


@click.group(cls=Portraitq, context_settings={"max_content_width": ASK_WIDTH, "help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="portraitq")
def main() -> None:
    """A portrait queue and timing board for artists who draw portraits live.

    The options of serve and demo can also be set as environment variables, such as PORTRAITQ_PORT for --port.
    """
    logging.basicConfig(level=logging.WARNING, format="%(asctime)s %(levelname)s %(name)s: %(message)s")


def _an_address(ctx: click.Context, option: click.Parameter, given: str | None) -> str | None:
    """The address of a database as it came; a path would quietly become another, empty store."""
    if given and "://" not in given:
        raise Failed(
            f"--database: an address such as postgresql://USER@HOST/NAME was expected, not {given!r}; "
            "a folder is given with --data."
        )
    return given or None


def _stored(command: Callable[..., Any]) -> Callable[..., Any]:
    """Options that say which store: they arrive as `where`."""
    command = click.option(
        "--database",
        envvar="PORTRAITQ_DATABASE",
        metavar="URL",
        callback=_an_address,
        help="Address of a database instead of a file, such as postgresql://USER@HOST/NAME.",
    )(command)
    return click.option(
        "--data",
        envvar="PORTRAITQ_DATA",
        type=click.Path(path_type=Path),
        default=paths.data_folder,
        show_default=str(paths.data_folder()),
        help="Folder of the booth's store.",
    )(command)


def _served(command: Callable[..., Any]) -> Callable[..., Any]:
    for option in (
        click.option(
            "--key",
            envvar="PORTRAITQ_KEY",
            type=click.Path(path_type=Path),
            metavar="FILE",
            help="The private key of that certificate, in PEM and without a password.",
        ),
        click.option(
            "--certificate",
            envvar="PORTRAITQ_CERTIFICATE",
            type=click.Path(path_type=Path),
            metavar="FILE",
            help="Serve https with this certificate (PEM) instead of one of the booth's own making.",
        ),
        click.option(
            "--https-port",
            envvar="PORTRAITQ_HTTPS_PORT",
            type=click.IntRange(0, 65535),
            default=DEFAULT_HTTPS_PORT,
            show_default=True,
            help="Where to listen for https; 0 takes any free port.",
        ),
        click.option(
            "--https",
            envvar="PORTRAITQ_HTTPS",
            is_flag=True,
            help="Serve https for the booth's tablets too, beside http for phones; /trust says how a tablet trusts it.",
        ),
        click.option(
            "--address", envvar="PORTRAITQ_ADDRESS", help="What phones call it, where that is not this network address."
        ),
        click.option(
            "--port",
            envvar="PORTRAITQ_PORT",
            type=click.IntRange(0, 65535),
            default=DEFAULT_PORT,
            show_default=True,
            help="Where to listen; 0 takes any free port.",
        ),
        click.option(
            "--host", envvar="PORTRAITQ_HOST", default="0.0.0.0", show_default=True, help="Which address to listen on."
        ),
    ):
        command = option(command)
    return command


def _booth(command: Callable[..., Any]) -> Callable[..., Any]:
    return click.option(
        "--booth", envvar="PORTRAITQ_BOOTH", metavar="BOOTH", help="Which booth, if there are several."
    )(command)


@main.command()
@_stored
@_served
def serve(data: Path, database: str | None, host: str, port: int, address: str | None, **secure: Any) -> None:
    """Serve the booth to its tablets and to phones, until Ctrl-C."""
    from portraitq.serve import serve as serving

    serving(database or data, host, port, address, _tell, _https_wish(data, **secure))


def _https_wish(
    data: Path, https: bool, https_port: int, certificate: Path | None, key: Path | None
) -> HttpsWish | None:
    """What the options say of https; a given certificate says that it is wanted."""
    from portraitq.https import FOLDER, HttpsWish

    if not (https or certificate or key):
        return None
    return HttpsWish(https_port, data / FOLDER, certificate, key)


@main.command()
@_served
@click.option(
    "--speed",
    envvar="PORTRAITQ_SPEED",
    type=click.FloatRange(0.1, 200),
    default=6.0,
    show_default=True,
    help="How many minutes go by in one.",
)
def demo(host: str, port: int, address: str | None, speed: float, **secure: Any) -> None:
    """Show an invented night market that runs by itself; nothing of it is kept."""
    from portraitq.serve import serve_demo

    with tempfile.TemporaryDirectory(prefix="portraitq-demo-", ignore_cleanup_errors=True) as folder:
        today = datetime.fromtimestamp(_now_s(), UTC).date()
        wish = _https_wish(Path(folder), **secure)
        serve_demo(Path(folder), host, port, address, speed, today, _tell, wish)


def _now_s() -> float:
    import time

    return time.time()


def _tell(line: str) -> None:
    """A line for whoever started it; a terminal that cannot show a QR goes without."""
    try:
        click.echo(line, color=True)
    except UnicodeEncodeError:
        click.echo(line.encode("ascii", "ignore").decode() if len(line) < ASK_WIDTH else "")
    sys.stdout.flush()


JOURNAL = click.argument("journal", type=click.Path(path_type=Path))


@main.command()
@JOURNAL
@click.option("--quotes", type=click.Path(path_type=Path), help="CSV file to write.")
@click.option(
    "--at",
    type=click.Choice(["ordered", "every"]),
    default="ordered",
    show_default=True,
    help="Ask once for each order, or after every line for every portrait that is not ready.",
)
@click.option("--explain", metavar="TICKET", help="Say in words what is behind the quote of one ticket, such as T7.")
@click.option(
    "--line",
    type=click.IntRange(min=1),
    metavar="SEQ",
    help="Explain the quote after that line of the journal, not the one right after the order.",
)
def replay(journal: Path, quotes: Path | None, at: str, explain: str | None, line: int | None) -> None:
    """Ask a past journal what the booth would have quoted, knowing only the lines up to there.

    --quotes writes every quote to a file, --explain tells of one why it was that.
    """
    if quotes is None and explain is None:
        raise click.UsageError("Say what is wanted: --quotes FILE, --explain TICKET, or both.")
    if line is not None and explain is None:
        raise click.UsageError("--line chooses the instant for --explain TICKET, which is missing.")
    with _file_errors(journal):
        events = _events_of(journal)
    if explain is not None:
        _explain(events, explain, line)
    if quotes is not None:
        _write_quotes(events, journal, quotes, at)


def _explain(events: Any, ticket: str, line: int | None) -> None:
    """Print why that ticket's quote was what it was, and what then happened."""
    from portraitq.forecast.explain import explain_past
    from portraitq.web.explained import afterwards, explained

    past = explain_past(events, ticket, line)
    told = explained(past.explanation)
    said = [told.title, *_wrapped(told.as_of), *_wrapped(told.note)]
    for part in (*told.parts, afterwards(past)):
        said += ["", part.heading, *(row for sentence in part.lines for row in _wrapped(sentence, indent=2))]
    click.echo("\n".join(said).replace("\u00a0", " "))


def _wrapped(sentence: str, indent: int = 0) -> list[str]:
    import textwrap

    room, hanging = " " * indent, " " * 2 * indent
    return textwrap.wrap(sentence, ASK_WIDTH, initial_indent=room, subsequent_indent=hanging, break_on_hyphens=False)


def _write_quotes(events: Any, journal: Path, quotes: Path, at: str) -> None:
    from portraitq.forecast.replay import replay as replayed
    from portraitq.forecast.replay import write_csv

    if quotes.exists() and quotes.samefile(journal):
        raise Failed(f"--quotes {quotes} is the journal itself, which it would overwrite: give the CSV another name.")
    with _progress("Replaying") as progress, _file_errors(quotes):
        count = write_csv(replayed(events, "every" if at == "every" else "ordered", progress), quotes)
    click.echo(f"{_counted(count, 'quote')} written to {quotes}", err=True)


@main.command()
@JOURNAL
@click.option("--json", "as_json", is_flag=True, help="The figures as JSON, for scripts.")
def score(journal: Path, as_json: bool) -> None:
    """Say how good the quotes on a past journal were, beside three plain ways of guessing."""
    import json

    from portraitq.forecast.score import report, table

    with _file_errors(journal):
        events = _events_of(journal)
    with _progress("Scoring") as progress:
        scores = report(events, progress)
    click.echo(json.dumps(scores, indent=2, allow_nan=False) if as_json else table(scores))


@main.command()
@click.option("--from", "opens", metavar="CLOCK", help="When it opens, such as 10:00; else as the last day did.")
@click.option("--to", "closes", metavar="CLOCK", help="When it closes.")
@click.option("--orders", metavar="N,N,…", help="How many people ask in each hour from the opening on.")
@click.option("--like", metavar="DAY", help="As many as on that day (2026-06-06) or such weekdays (saturday).")
@click.option("--times", metavar="FACTOR", help="So many times as many.")
@click.option("--easels", metavar="ARTIST,…", help="Who is there; everybody when left out.")
@click.option("--style-mix", metavar="STYLE=SHARE,…", help="What they ask for; a style left out is not on offer.")
@click.option("--sitters", metavar="SHARE,…", help="Shares of one, two, … sitters.")
@click.option("--break", "breaks", multiple=True, metavar="ARTIST=CLOCK-CLOCK", help="A break; can be repeated.")
@click.option("--price", "prices", multiple=True, metavar="STYLE=AMOUNT", help="A price of that day; can be repeated.")
@click.option("--try-price", metavar="STYLE=AMOUNT", help="Another price, to be compared with that.")
@click.option("--patience", metavar="MINUTES", help="The wait at which half of them leave, or endless.")
@click.option("--confidence", metavar="SHARE", help="The share of promises to keep, 0.5 to 0.99.")
@click.option("--days", default="1000", show_default=True, metavar="N", help="How many days are played.")
@click.option("--seed", default="1", show_default=True, metavar="N", help="The same seed plays the same days.")
@click.option("--json", "as_json", is_flag=True, help="The figures as JSON, for scripts.")
@_booth
@_stored
def plan(data: Path, database: str | None, booth: str | None, as_json: bool, **typed: Any) -> None:
    """Say what a day that has not happened would bring, from the record and the booth's own pace.

    Portraits, takings, waits, kept promises, who leaves, when to stop taking orders; and what one more easel, leaving
    out the slowest style or another price would change.
    """
    import json

    from portraitq.forecast.learning import QUOTED_BACK, Learned, read_on
    from portraitq.forecast.plan_answer import answer, as_data
    from portraitq.store import journal
    from portraitq.web.plan_form import from_shell, read_plan
    from portraitq.web.planned import table

    with _store(database or data) as store, store.reading() as conn:
        events = list(journal.events(conn, _which(journal.booths(conn), booth)))
    learned = read_on(Learned(), events, quoted_back=QUOTED_BACK)
    try:
        found = read_plan(from_shell(typed, learned.booth), learned.booth)
    except Malformed as odd:
        if odd.field == "set-up":
            raise
        raise click.UsageError(str(odd)) from odd
    with _progress("Planning") as progress:
        result = answer(learned.booth, learned.pace, found.plan, found.days, found.seed, found.new_price, progress)
    click.echo(json.dumps(as_data(result), indent=2, allow_nan=False) if as_json else table(result))


@main.command(name="import")
@click.argument("file", type=click.Path(allow_dash=True, path_type=Path))
@click.option(
    "--booth", metavar="BOOTH", help="The name of the new booth in addresses; made of its set-up's when left out."
)
@_stored
def import_(file: Path, booth: str | None, data: Path, database: str | None) -> None:
    """Bring a journal file in as a new booth, and print its name in addresses: all of it, or nothing."""
    with _file_errors(file):
        lines = _lines_of(file)
    if not lines:
        raise Failed(f"{_named(file)} is empty: there is nothing to import.")
    booth = _address_out_of(lines) if booth is None else booth
    _fit_for_addresses(booth)
    with _desks(database or data) as desks:
        if booth in desks.slugs():
            raise Failed(f"There is a booth {booth!r} already: give the new one another name with --booth.")
        try:
            desk = desks.import_journal(booth, lines)
        except RefusedLine as no:
            raise Failed(f"{_named(file)}, {no} Nothing was imported.") from no
        seq = desk.standing(wait_s=0).seq
    click.echo(booth)
    click.echo(f"{seq} lines imported as {booth}. A service that runs shows it once it is started anew.", err=True)


@main.command()
@click.argument("file", type=click.Path(path_type=Path), required=False)
@_booth
@_stored
def export(file: Path | None, booth: str | None, data: Path, database: str | None) -> None:
    """Write a booth's journal to FILE, or to the terminal, as JSON Lines. It holds no personal data."""
    from portraitq.store import journal

    with _store(database or data) as store, store.reading() as conn:
        lines = journal.lines(conn, _which(journal.booths(conn), booth))
    content = "".join(line + "\n" for line in lines).encode()
    if file is None:
        sys.stdout.buffer.write(content)
        return
    with _file_errors(file):
        file.write_bytes(content)
    click.echo(f"{len(lines)} lines written to {file}", err=True)


@main.command()
@click.argument("file", type=click.Path(path_type=Path), required=False)
@_stored
def check(file: Path | None, data: Path, database: str | None) -> None:
    """Look whether the store is whole, or the back-up FILE. Nothing is changed, and the booth may trade meanwhile.

    Each journal folds without a gap, cards and photos match it, kept days are as it has them, the database is sound.
    """
    from portraitq.checking import examined

    with _progress("Checking") as progress:
        found = list(examined(database or data, file, _now(), progress))
    for one in found:
        click.echo(f"{one.name}: {'; '.join(one.faults) or one.said}")
    faults = sum(len(one.faults) for one in found)
    what = f"{file}" if file else "The store"
    if faults:
        raise Failed(f"{what} is not whole ({faults} faults): keep a copy of it before doing anything else.")
    click.echo("whole")


@main.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--replace", is_flag=True, help="Overwrite FILE where it is there already, once the new one is whole.")
@_stored
def backup(file: Path, replace: bool, data: Path, database: str | None) -> None:
    """Write the whole store to FILE while the booth trades: journals, cards, photos and who may come in.

    Keep FILE like the cash box, and no longer than you would keep the photos in it.
    """
    from portraitq.back_ups import SERVERS_OWN
    from portraitq.store.backup import megabytes, write_anywhere
    from portraitq.store.store import FILE_NAME

    if database:
        raise Failed(SERVERS_OWN)
    with _file_errors(file), _progress("Writing") as progress:
        made = write_anywhere(data / FILE_NAME, file, replace=replace, progress=progress)
    click.echo(f"{_held_said(made.held)}; {megabytes(made.size_bytes)}, SHA-256 {made.sha256}")
    click.echo(
        f"{file} is whole. It holds personal data and what opens the booth (passphrase, keys): keep it like the cash "
        "box. What you erase later stays in it until you delete it; `portraitq restore --replace` erases it again.",
        err=True,
    )


@main.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--replace", is_flag=True, help="Take the place of a store that is there; that one is put aside first.")
@_stored
def restore(file: Path, replace: bool, data: Path, database: str | None) -> None:
    """Put the back-up FILE in the place of the store: all of it, or nothing. Stop the service first.

    What was erased since, and every device withdrawn since, stays so where the store of before still knows it.
    """
    from portraitq.back_ups import SERVERS_OWN
    from portraitq.store.restore import restore as restoring

    if database:
        raise Failed(SERVERS_OWN)
    with _progress("Restoring") as progress:
        done = restoring(file, data, _now(), replace=replace, progress=progress)
    last = f"; the last line is of {done.last_at}" if done.last_at else ""
    click.echo(f"{_held_said(done.held)}{last}")
    for sentence in _restored_said(done):
        click.echo(sentence, err=True)


def _held_said(held: Any) -> str:
    """`quay with 412 lines; 57 cards, 12 photos`."""
    lines = ", ".join(f"{booth} with {_counted(count, 'line')}" for booth, count in held.lines.items()) or "no booth"
    return f"{lines}; {_counted(held.cards, 'card')}, {_counted(held.photos, 'photo')}"


def _counted(count: int, thing: str) -> str:
    return f"{count} {thing}" if count == 1 else f"{count} {thing}s"


def _restored_said(done: Any) -> Iterator[str]:
    """What somebody must know of a store that was put in place."""
    if done.aside is not None:
        yield f"The store of before lies in {done.aside}, for a week once the service runs."
    if done.left_out:
        yield f"Not in the back-up, and therefore only there: {', '.join(done.left_out)}."
    if done.erased:
        yield f"{_counted(done.erased, 'ticket')} erased in it too, for that was done since it was made."
    if done.keeps_doors:
        yield "Passphrase, devices and sign-ins stay as they were a moment ago."
    else:
        yield (
            "Passphrase and device keys are those of the back-up, and every browser signs in again: withdraw "
            "under Devices what was withdrawn since, or set a new passphrase with `portraitq passphrase`."
        )


@main.command()
@click.argument("tickets", nargs=-1, required=True, metavar="TICKET…")
@_booth
@_stored
def erase(tickets: tuple[str, ...], booth: str | None, data: Path, database: str | None) -> None:
    """Erase the personal data of tickets, in the back-ups beside the store too. The journal stays whole.

    A TICKET is a ticket's code as on the slip, or its id in the journal, such as T7.
    """
    from secrets import token_hex

    from portraitq.core.commands import Command
    from portraitq.core.events import SYSTEM, Erased

    with _desks(database or data) as desks:
        found = [_ticket(desks, name, booth) for name in tickets]
        for desk, ticket in found:
            desk.carry_out(Command(f"erase-{token_hex(8)}", Erased(ticket=ticket), SYSTEM))
        if desks.store.is_sqlite:
            desks.back_ups.erase_too()
    click.echo(f"{len(found)} erased", err=True)


@main.group()
def device() -> None:
    """Devices that may speak for the booth by a key of their own."""


@device.command(name="add")
@click.argument("name")
@click.option(
    "--for",
    "role",
    type=click.Choice(["owner", "staff"]),  # as in store/devices.py, which is not loaded for --help
    default="owner",
    show_default=True,
    help="staff takes orders, draws and hands over; owner may everything.",
)
@_stored
def device_add(name: str, role: str, data: Path, database: str | None) -> None:
    """Let one more device in, and print its key. It is shown this once."""
    from portraitq.store import devices

    if not 0 < len(name.strip()) <= ASK_WIDTH:
        raise Failed(f"A name of 1 to {ASK_WIDTH} characters was expected.")
    with _store(database or data) as store, store.writing() as conn:
        key = devices.add(conn, name.strip(), _now(), role)
    click.echo(key)


@device.command(name="list")
@_stored
def device_list(data: Path, database: str | None) -> None:
    """List the devices: id, role, since when, when last seen, name."""
    from portraitq.store import devices

    with _store(database or data) as store, store.reading() as conn:
        found = devices.listed(conn)
    for one in found:
        state = f"withdrawn {one.withdrawn_at}" if one.withdrawn_at else f"seen {one.seen_at or 'never'}"
        click.echo(f"{one.id}  {one.role}  since {one.added_at}  {state}  {one.name}")


@device.command(name="withdraw")
@click.argument("id")
@_stored
def device_withdraw(id: str, data: Path, database: str | None) -> None:
    """Shut a device out by its id. A service that runs cuts it off within a few seconds."""
    from portraitq.store import devices

    with _store(database or data) as store, store.writing() as conn:
        was_there = devices.withdraw(conn, id, _now())
    if not was_there:
        raise Failed(f"There is no device {id!r} that is still in: `portraitq device list` shows them.")
    click.echo("withdrawn", err=True)


@main.command()
@click.option("--own", is_flag=True, help="Ask for one of your own instead of making one.")
@_stored
def passphrase(own: bool, data: Path, database: str | None) -> None:
    """Set a new passphrase and print it. Every browser has to sign in again."""
    from portraitq import passphrase as passphrases

    chosen = click.prompt("New passphrase", hide_input=True, confirmation_prompt=True, err=True) if own else None
    made = chosen or passphrases.new_passphrase()
    with _store(database or data) as store:
        passphrases.set_passphrase(store, made)
    click.echo("changed" if chosen else made, err=bool(chosen))


# What several commands need


@contextmanager
def _store(where: str | Path) -> Iterator[Any]:
    from portraitq.store.store import open_store

    store = open_store(where)
    try:
        yield store
    finally:
        store.close()


@contextmanager
def _desks(where: str | Path) -> Iterator[Any]:
    from portraitq.serve import desks_of

    desks = desks_of(where)
    try:
        yield desks
    finally:
        desks.close()


@contextmanager
def _progress(label: str) -> Iterator[Callable[[int, int], None]]:
    """A bar on stderr that says how many lines of how many are read."""
    with click.progressbar(length=1, label=label, file=sys.stderr, hidden=not sys.stderr.isatty()) as bar:

        def told(done: int, of: int) -> None:
            bar.length = max(of, 1)
            bar.update(done - bar.pos)

        yield told


@contextmanager
def _file_errors(file: Path) -> Iterator[None]:
    """What the system says about a file, and what stands in it, as one sentence with its name."""
    try:
        yield
    except BrokenPipeError:
        raise
    except OSError as wrong:
        raise Failed(f"{_named(file)}: {wrong.strerror or wrong}.") from wrong
    except UnicodeDecodeError as wrong:
        raise Failed(f"{_named(file)} is no journal: UTF-8 was expected at byte {wrong.start}.") from wrong
    except RefusedLine as no:
        raise Failed(f"{_named(file)}, {no}") from no


def _named(file: Path) -> str:
    return "the input" if str(file) == "-" else str(file)


def _lines_of(file: Path) -> list[str]:
    raw = sys.stdin.buffer.read() if str(file) == "-" else file.read_bytes()
    lines = raw.removeprefix(codecs.BOM_UTF8).decode("utf-8").split("\n")  # some editors put a mark in front
    return lines[:-1] if lines[-1] == "" else lines


def _events_of(file: Path) -> Any:
    from portraitq.core.booth import import_lines

    _, events = import_lines(_lines_of(file))
    return events


def _which(known: list[str], asked: str | None) -> str:
    if asked in known and asked is not None:
        return asked
    if asked is None and len(known) == 1:
        return known[0]
    if not known:
        raise Failed("There is no booth in this store yet: give the folder of one with --data.")
    there = f"there is: {', '.join(known)}"
    raise Failed(f"There is no booth {asked!r} ({there})." if asked else f"Say which booth with --booth ({there}).")


def _ticket(desks: Any, name: str, booth: str | None) -> tuple[Any, str]:
    from portraitq.desk import NoSuchTicket
    from portraitq.ticket.codes import normalise

    code = normalise(name)
    if code and (found := desks.by_code(code)):
        return found  # type: ignore[no-any-return]
    desk = desks.at(_which(desks.slugs(), booth))
    try:
        return desk, desk.ticket(name).id
    except NoSuchTicket as unknown:
        raise Failed(
            f"There is no ticket {name} at this booth: give the code on its slip, or its id in the journal such as T7. "
            "Its number is given anew each day and is not enough. Nothing was erased."
        ) from unknown


def _address_out_of(lines: list[str]) -> str:
    """A name in addresses made of the booth's own: `Quayside Portraits` becomes `quayside-portraits`."""
    from portraitq import starter
    from portraitq.core.events import SetUp, parse_line
    from portraitq.web.app import RESERVED

    told = next((line for line in reversed(lines) if '"set_up"' in line), "{}")
    try:
        data = parse_line(told).data
    except Malformed:  # the import itself says which line is wrong, and how
        return starter.SLUG
    name = data.booth.name if isinstance(data, SetUp) else ""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    made = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:32].strip("-")
    return made if made and made not in RESERVED else starter.SLUG


def _fit_for_addresses(booth: str) -> None:
    from portraitq.web.app import RESERVED

    if not re.fullmatch(r"[a-z0-9-]{1,32}", booth) or booth in RESERVED:
        raise Failed(
            f"--booth: 1 to 32 of a–z, 0–9 and - were expected, and none of {', '.join(RESERVED)}; not {booth!r}."
        )


def _now() -> datetime:
    return datetime.fromtimestamp(_now_s(), UTC)
