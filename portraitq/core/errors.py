"""The two ways in which the core says no, each with one sentence for a person."""

from __future__ import annotations


class Malformed(ValueError):
    """What came in has not the form asked for; `field` names where, dotted, or is empty for the whole."""

    def __init__(self, sentence: str, field: str = "") -> None:
        super().__init__(sentence)
        self.field = field


class Refused(ValueError):
    """Well formed, but it cannot have happened, or may not, as the booth stands. Nothing has changed."""


class RefusedLine(ValueError):
    """A line of a journal file that is malformed or contradicts the lines before it; nothing was taken."""

    def __init__(self, line: int, sentence: str) -> None:
        super().__init__(f"line {line}: {sentence}")
        self.line = line
