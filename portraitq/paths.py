"""Where things lie on disk: templates and static files of the program, the store of the booth.

An installed wheel carries `templates/` and `static/` inside the package; in a checkout they stand beside it.
"""

from __future__ import annotations

from pathlib import Path

import platformdirs

_PACKAGE = Path(__file__).resolve().parent


def _folder(name: str) -> Path:
    inside = _PACKAGE / name
    return inside if inside.is_dir() else _PACKAGE.parent / name


def templates() -> Path:
    """The folder of the page templates."""
    return _folder("templates")


def static() -> Path:
    """The folder of style sheets and scripts."""
    return _folder("static")


def data_folder() -> Path:
    """Where a booth's store lies unless somebody says otherwise: the platform's folder for a user's data."""
    return Path(platformdirs.user_data_dir("portraitq", appauthor=False))
