"""Does the box hold what the record says? The cash counted at the end of a day against the float and the day's cash.

    what should be there   = float + cash taken − cash given back, on the day
    difference             = counted − what should be there; negative where money is missing

Cash moves after it was counted (somebody pays at the last moment), so a count remembers what the record said then. Card
and other payments are not in the box. A record of what changed hands; it reckons no taxes.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Annotated

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, StringConstraints

from portraitq.daybook.takings import Takings

CASH = "cash"
LONGEST_NOTE = 120  # one line, for "a 20 was changed at the bakery"
MOST = 10**12  # minor units, as in the journal

Amount = Annotated[int, Field(ge=0, le=MOST)]


class CashCount(BaseModel):
    """One count, in minor units: the float that the box began with, what was in it, and the day's net cash by then."""

    model_config = ConfigDict(frozen=True, hide_input_in_errors=True)

    began_with: Amount
    counted: Amount
    recorded: int
    at: AwareDatetime
    note: Annotated[str, StringConstraints(max_length=LONGEST_NOTE)] = ""


@dataclass(frozen=True, slots=True)
class Reckoning:
    """A count beside the record as it stands now. Minor units.

    should_be   the float and the day's net cash
    difference  counted less that
    since       net cash that was recorded after the count
    """

    count: CashCount
    should_be: int
    difference: int
    since: int

    @property
    def at(self) -> datetime:
        """When it was counted."""
        return self.count.at


def net_cash(takings: Takings) -> int:
    """The cash taken on the day less the cash given back."""
    return sum(one.net for one in takings.means if one.how == CASH)


def reckoned(count: CashCount, takings: Takings) -> Reckoning:
    """`count` beside the day's record.

    The difference is what it was when the box was counted: what was recorded since was not in the box yet.
    """
    should_be = count.began_with + count.recorded
    return Reckoning(count, should_be, count.counted - should_be, net_cash(takings) - count.recorded)
