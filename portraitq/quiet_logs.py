"""No log names an address that somebody asked for: those of photos and tickets are secrets of their customers.

Our own lines never do. This is for the lines of Flask and gunicorn, which name it where a request goes wrong.
"""

from __future__ import annotations

import logging
import re

LOGGERS = ("gunicorn.error", "portraitq", "werkzeug")  # Flask's is called as the application is
UNREADABLE = re.compile(r"^(Invalid request from ip=\S+):.*", re.DOTALL)  # what follows is the request itself
ADDRESS = re.compile(r"(?<![\w.])(?:https?:/)?/[^\s'\"]*")


class _WithoutAddresses(logging.Filter):
    """Lets every record pass, its addresses replaced. Where in the code something went wrong stays to be read."""

    def filter(self, record: logging.LogRecord) -> bool:
        record.msg, record.args = ADDRESS.sub("(an address)", UNREADABLE.sub(r"\1", record.getMessage())), None
        return True


_without_addresses = _WithoutAddresses()


def keep_addresses_out() -> None:
    """From now on no line of these loggers has an address of a request in it. Doing it twice is harmless."""
    for name in LOGGERS:
        logging.getLogger(name).addFilter(_without_addresses)
