"""How long an artist usually takes for a stage: the median of what is expected, for people to read."""

from __future__ import annotations

import math

from portraitq.core.events import Stage
from portraitq.core.life import Ticket
from portraitq.forecast.hand import Hand, of_sitters
from portraitq.forecast.pace import Pace


def usual_stage_s(pace: Pace, artist: str, ticket: Ticket, stage: Stage, day_index: int) -> float:
    """Seconds in which `artist` has done that stage of `ticket` in half of all goes; from the guesses at first.

    stage      of the ticket's style; for all its sitters together
    day_index  which day of trading, counted from 1
    """
    return _usual_s(pace.hand(artist, ticket.style, day_index), ticket, stage)


def usual_stages_s(pace: Pace, artist: str, ticket: Ticket, day_index: int) -> list[float]:
    """The same of each stage of `ticket`, in their order."""
    hand = pace.hand(artist, ticket.style, day_index)
    return [_usual_s(hand, ticket, stage) for stage in ticket.style.stages]


def _usual_s(hand: Hand, ticket: Ticket, stage: Stage) -> float:
    mu, _ = of_sitters(hand, ticket.style.id, stage, ticket.sitters)
    return math.exp(mu + float(hand.mean[list(hand.rows(ticket.style.id, stage.id))].sum()))
