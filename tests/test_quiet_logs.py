"""Lines of Flask and gunicorn without the addresses that were asked for."""

from __future__ import annotations

import logging

import pytest

from portraitq.quiet_logs import LOGGERS, keep_addresses_out


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
