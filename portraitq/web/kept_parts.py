"""Parts of a fragment, such as one row of sixty: printed again only where they show something else than before.

A template prints a part by `kept(macro, what, …)` instead of `macro(what, …)`. Only what the rendering before printed
is kept, so that nothing of anybody stays here that stands on no screen.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping
from typing import Protocol

from markupsafe import Markup

Key = tuple[Hashable, ...]


class Macro(Protocol):
    """What Jinja makes of a `{% macro %}`; this one prints by its arguments alone."""

    name: str
    __call__: Callable[..., Markup]


class KeptParts:
    """The parts of one rendering, by what they show; `before` those of the rendering before."""

    def __init__(self, before: Mapping[Key, Markup]) -> None:
        self._before, self.parts = before, dict[Key, Markup]()

    def __call__(self, macro: Macro, *shown: Hashable) -> Markup:
        """What `macro` prints of `shown`, which is compared by value."""
        key = (macro.name, *shown)
        html = self._before.get(key)
        self.parts[key] = html = macro(*shown) if html is None else html
        return html
