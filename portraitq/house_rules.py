"""What a booth wishes beside its journal: words between two portraits, rests, how long photos are kept, fair turns.

No command and no quote depends on any of it, so it stands in the settings and not in the `set_up` event.
"""

from __future__ import annotations

import logging
from typing import TYPE_CHECKING, Annotated

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from portraitq.store import settings

if TYPE_CHECKING:
    from sqlalchemy import Connection

LONGEST_TEXT = 400
KEEP_LONGEST_H = 72
UNCOLLECTED_LONGEST_DAYS = 365
REST_LONGEST_MIN = 600
PASSED_OVER_MOST = 20  # later orders before one ticket; who lets more be put there needs no rule
log = logging.getLogger(__name__)
Text = Annotated[str, Field(max_length=LONGEST_TEXT)]


class HouseRules(BaseModel):
    """A booth's own rules; the defaults serve a booth that never looked at them.

    between           what to do between two portraits, one line a step
    rest_after_min    a rest is suggested between two portraits after so much drawing without one; 0 never
    rest              the words of that suggestion
    care              the caution about fixative and dust; empty shows none
    keep_h            personal data are erased so many hours after the hand-over; None when the day is closed
    uncollected_days  they are erased, too, of a portrait that waited on the rack for so many days; None never
    passed_over_most  how many later orders a suggestion may put before one ticket; 0 suggests only what passes nobody
    """

    model_config = ConfigDict(frozen=True, extra="ignore", hide_input_in_errors=True)

    between: Text = "Wash your hands.\nSwap blunt pencils for sharp ones.\nTape down fresh paper."
    rest_after_min: Annotated[int, Field(ge=0, le=REST_LONGEST_MIN)] = 90
    rest: Text = "You have drawn for long without a rest. Let go of the pencil, look far away, stretch hand and neck."
    care: Text = (
        "Fixative: outdoors or well aired, away from people and flames. Dust: wipe it damp, do not blow. "
        "The product's safety data sheet and local rules decide."
    )
    keep_h: Annotated[int, Field(ge=1, le=KEEP_LONGEST_H)] | None = None
    uncollected_days: Annotated[int, Field(ge=1, le=UNCOLLECTED_LONGEST_DAYS)] | None = None
    passed_over_most: Annotated[int, Field(ge=0, le=PASSED_OVER_MOST)] = 2


def of(connection: Connection, booth: str) -> HouseRules:
    """The rules of that booth; the defaults where none were written, or what was written cannot be read any more."""
    kept = settings.get(connection, _key(booth))
    if kept is None:
        return HouseRules()
    try:
        return HouseRules.model_validate_json(kept)
    except ValidationError as wrong:  # of another version: better the usual rules than no easel
        log.warning("The house rules of %s cannot be read, so the usual ones stand: %s", booth, wrong)
        return HouseRules()


def put(connection: Connection, booth: str, rules: HouseRules) -> None:
    """Keep the rules of that booth."""
    settings.put(connection, _key(booth), rules.model_dump_json())


def _key(booth: str) -> str:
    return f"house-rules:{booth}"[:64]
