"""Small changes of a set-up, each with what stood there before: guesses, turnaround, how promises are made.

A change is made only where its old value still stands, so that nobody's edit in between is lost, and taking it back is
the same change the other way round. Everything else of the set-up stays as it is.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from portraitq.core.errors import Refused
from portraitq.core.events import SetUp, Style, ThreeGuesses, print_data, read_data

TURNAROUND, CONFIDENCE, ROUNDING = "turnaround", "confidence", "round-to"
_FIELDS = {CONFIDENCE: "confidence", ROUNDING: "round_to_s"}
GUESSES = ("quick_s", "usual_s", "slow_s")

Values = tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Change:
    """`old` becomes `new`: one value, or the three guesses, in seconds, of TURNAROUND or a stage ("STYLE/STAGE")."""

    what: str
    old: Values
    new: Values

    @property
    def back(self) -> Change:
        """What takes it back."""
        return replace(self, old=self.new, new=self.old)


def stage_named(style: str, stage: str) -> str:
    """What a change of that stage's guesses is called."""
    return f"{style}/{stage}"


def standing(set_up: SetUp, what: str) -> Values | None:
    """What stands there now; None where the set-up has no such thing."""
    if what == TURNAROUND:
        return _three(set_up.turnaround)
    if what in _FIELDS:
        return (float(getattr(set_up.booth, _FIELDS[what])),)
    style = set_up.style(what.partition("/")[0])
    stage = next((one for one in style.stages if one.id == what.partition("/")[2]), None) if style else None
    return (float(stage.quick_s), float(stage.usual_s), float(stage.slow_s)) if stage else None


def changed(set_up: SetUp, changes: Iterable[Change]) -> SetUp:
    """`set_up` with those changes and nothing else; Refused where something else stands there by now.

    What stands as it would be changed to is left as it is: the same change asked for twice is made once.
    Malformed where the new values are none that a set-up may have.
    """
    data = print_data(set_up)
    for change in changes:
        now = standing(set_up, change.what)
        if now == change.new:
            continue
        if now != change.old:
            raise Refused(
                "The set-up was changed since this page was shown, so nothing was taken over. Load the page anew."
            )
        _put(data, change)
    new = read_data("set_up", data)
    assert isinstance(new, SetUp)
    return new


def between(before: SetUp, after: SetUp) -> tuple[Change, ...]:
    """The changes of this kind that lead from one set-up to the other."""
    names = [CONFIDENCE, ROUNDING, *(name for style in after.styles for name in _stages(style)), TURNAROUND]
    both = ((name, standing(before, name), standing(after, name)) for name in names)
    return tuple(Change(name, old, new) for name, old, new in both if old and new and old != new)


def _stages(style: Style) -> list[str]:
    return [stage_named(style.id, stage.id) for stage in style.stages]


def _three(guesses: ThreeGuesses) -> Values:
    return (float(guesses.quick_s), float(guesses.usual_s), float(guesses.slow_s))


def _put(data: dict[str, object], change: Change) -> None:
    """Write a change's new values into a set-up as the journal prints it; what it names is there."""
    values = [int(one) if one == int(one) else one for one in change.new]
    where: object
    names: tuple[str, ...] = GUESSES
    if change.what in _FIELDS:
        where, names = data["booth"], (_FIELDS[change.what],)
    elif change.what == TURNAROUND:
        where = data["turnaround"]
    else:
        style_id, _, stage_id = change.what.partition("/")
        where = _named(_named(data, "styles", style_id), "stages", stage_id)
    assert isinstance(where, dict)
    where.update(zip(names, values, strict=True))


def _named(holder: object, kind: str, id: str) -> object:
    assert isinstance(holder, dict)
    return next(one for one in holder[kind] if one["id"] == id)
