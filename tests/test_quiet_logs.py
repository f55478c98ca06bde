"""Lines of Flask and gunicorn without the addresses that were asked for, and tracebacks without what was typed.

OWASP ASVS 5.0, 16.2.5: what is sensitive is logged by its protection level, which here is not at all.
"""

from __future__ import annotations

import logging
import sqlite3
import threading
from collections.abc import Callable, Iterator

import pytest
from pydantic import BaseModel

from portraitq.core.errors import Malformed
from portraitq.quiet_logs import (
    FROM_STRANGERS_A_MINUTE,
    LOGGERS,
    FewFromStrangers,
    keep_addresses_out,
    keep_values_out,
    log_what_ends_a_thread,
)
from portraitq.store.store import StoreError

NAME = "Anouk-of-the-quay"


class Form(BaseModel):
    """What a form might be read by."""

    sitters: int


def _while_handling_another() -> None:
    try:
        raise KeyError(NAME)
    except KeyError:
        raise RuntimeError(f"no card of {NAME}") from None


def _out_of_another() -> None:
    try:
        int(NAME)
    except ValueError as wrong:
        raise Malformed(f"name: a number was expected, not {NAME}", "name") from wrong


def _in_several() -> None:
    raise ExceptionGroup(f"all of {NAME}", [ValueError(NAME)])


@pytest.fixture(autouse=True)
def _as_it_was() -> Iterator[None]:
    factory, hook = logging.getLogRecordFactory(), threading.excepthook
    yield
    logging.setLogRecordFactory(factory)
    threading.excepthook = hook


@pytest.mark.parametrize(
    ("line", "words", "kept"),
    [
        ("Error handling request %s %s", ("GET", "/quay/photos/AbC-123/small?x=1"), "request GET (an address)"),
        ("Exception on %s [%s]", ("/t/7QK2-9MXW", "POST"), "Exception on (an address) [POST]"),
        ("Invalid request from ip=10.0.0.2: Invalid HTTP Header: 'Cookie 7QK2'", (), "request from ip=10.0.0.2"),
        ("Worker (pid:%s) exited with code %s", (7, 3), "Worker (pid:7) exited with code 3"),
        ("a request for http://192.168.4.1:8750/t/7QK2 failed", (), "for (an address) failed"),
    ],
)
@pytest.mark.parametrize("logger", LOGGERS)
def test_a_line_keeps_what_happened_and_loses_where(
    logger: str, line: str, words: tuple[object, ...], kept: str, caplog: pytest.LogCaptureFixture
) -> None:
    keep_addresses_out()
    keep_addresses_out()
    logging.getLogger(logger).addHandler(caplog.handler)  # gunicorn's and Flask's need not hand on to the root

    logging.getLogger(logger).warning(line, *words)
    logging.getLogger(logger).removeHandler(caplog.handler)

    assert kept in caplog.text
    assert "7QK2" not in caplog.text
    assert "AbC-123" not in caplog.text


def test_of_what_a_stranger_can_cause_few_lines_a_minute_are_logged_and_the_rest_counted() -> None:
    """OWASP ASVS 5.0, 16.4 (log protection), from memory: nobody outside decides how much is written to the card."""
    now_s = 0.0
    few = FewFromStrangers(lambda: now_s)

    def passes(line: str) -> str | None:
        record = logging.makeLogRecord({"msg": line})
        return record.getMessage() if few.filter(record) else None

    first = [passes("Invalid request from ip=fe80::1: Invalid HTTP Header: 'X'") for _ in range(1000)]
    ours = passes("a wrong passphrase was given")
    now_s = 60.0
    later = [passes("Invalid request from ip=fe80::1: Invalid HTTP Header: 'X'") for _ in range(2)]

    assert sum(line is not None for line in first) == FROM_STRANGERS_A_MINUTE
    assert ours == "a wrong passphrase was given"
    left_out = 1000 - FROM_STRANGERS_A_MINUTE
    assert later[0] == f"Invalid request from ip=fe80::1, the next after {left_out} that were not logged"
    assert later[1] == "Invalid request from ip=fe80::1: Invalid HTTP Header: 'X'"


@pytest.mark.parametrize(
    ("goes_wrong", "kind"),
    [
        (lambda: {}[NAME], "KeyError"),
        (lambda: int(NAME), "ValueError"),
        (lambda: Form.model_validate({"sitters": NAME}), "ValidationError"),
        (lambda: NAME.encode("ascii").decode("utf-16"), "UnicodeDecodeError"),
        (_while_handling_another, "RuntimeError"),
        (_out_of_another, "Malformed"),
        (_in_several, "ExceptionGroup"),
    ],
)
@pytest.mark.parametrize("logger", ["portraitq.web.problems", "engineio.server", "gunicorn.error", "anything.else"])
def test_a_traceback_says_where_and_of_what_kind_and_repeats_no_value(
    goes_wrong: Callable[[], object], kind: str, logger: str, caplog: pytest.LogCaptureFixture
) -> None:
    keep_values_out()
    keep_values_out()
    said = logging.getLogger(logger)
    said.addHandler(caplog.handler)

    try:
        goes_wrong()
    except Exception:  # noqa: BLE001 # whatever it is, as the last handler of a service
        said.exception("It went wrong inside.")
    said.removeHandler(caplog.handler)

    assert "It went wrong inside." in caplog.text
    assert f"{kind} (its words are left out" in caplog.text
    assert "test_quiet_logs.py" in caplog.text
    assert NAME not in caplog.text


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (OSError(28, "No space left on device", f"/home/{NAME}/data"), "No space left on device (error 28)"),
        (sqlite3.OperationalError("database is locked"), "OperationalError: database is locked"),
        (StoreError("The disk is full."), "StoreError: The disk is full."),
        (NameError("name 'ovla' is not defined"), "NameError: name 'ovla' is not defined"),
    ],
)
def test_what_is_full_locked_gone_or_misspelt_is_named(
    error: Exception, words: str, caplog: pytest.LogCaptureFixture
) -> None:
    keep_values_out()

    logging.getLogger("portraitq.desk").error("It failed.", exc_info=error)

    assert words in caplog.text
    assert NAME not in caplog.text


def test_what_an_error_followed_from_is_told_as_well(caplog: pytest.LogCaptureFixture) -> None:
    keep_values_out()

    try:
        _out_of_another()
    except Malformed:
        logging.getLogger("portraitq.desk").exception("It failed.")

    assert caplog.text.index("builtins.ValueError") < caplog.text.index("portraitq.core.errors.Malformed")


def test_an_error_that_ends_a_thread_is_logged_without_its_words(
    caplog: pytest.LogCaptureFixture, capfd: pytest.CaptureFixture[str]
) -> None:
    keep_values_out()
    log_what_ends_a_thread()

    ends = threading.Thread(target=_out_of_another, name="quotes of quay")
    ends.start()
    ends.join()

    assert "The thread quotes of quay ended by an error." in caplog.text
    assert "Malformed" in caplog.text
    assert NAME not in caplog.text + "".join(capfd.readouterr())
