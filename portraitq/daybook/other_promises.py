"""What would other promises have been like? Past quotes read off at another confidence, or rounded otherwise.

Whatever is promised, the portrait is drawn no sooner and no later, so a past day answers this without being played
again: the forecast remembers the distributions that it gave right after the last orders, as corrected then, and when
each of those portraits was ready (`forecast/calibration.py`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from portraitq.daybook.differences import mean_of
from portraitq.daybook.estimates import Estimate, estimate
from portraitq.daybook.shares import Share
from portraitq.forecast.calibration import Said, would_tell_s
from portraitq.forecast.promise import round_up

Past = Sequence[tuple[Said, float]]


@dataclass(frozen=True, slots=True)
class Policy:
    """How promises are made: at which confidence, rounded up to what, by the clocks of which zone."""

    confidence: float
    round_to_s: float
    zone: ZoneInfo


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a policy would have done: the share kept, and by how much the promise would have been earlier (seconds)."""

    policy: Policy
    kept: Share
    earlier_s: Estimate


def outcome(past: Past, policy: Policy, present: Policy) -> Outcome | None:
    """What `policy` would have done, beside the `present` one; None where there are too few quotes to say.

    `earlier_s` is the mean over the portraits that both would have promised for the same date: a night between the
    two times is no earliness.
    """
    told = [(_told_at(said, policy), _told_at(said, present)) for said, _ in past]
    gains_s = [(then - at).total_seconds() for at, then in told if _date(at, policy) == _date(then, policy)]
    earlier_s = estimate(mean_of(gains_s))
    if earlier_s is None:
        return None
    kept = sum(
        said.ordered_at + timedelta(seconds=took_s) <= at for (said, took_s), (at, _) in zip(past, told, strict=True)
    )
    return Outcome(policy, Share(kept, len(past)), earlier_s)


def _told_at(said: Said, policy: Policy) -> datetime:
    at = said.ordered_at + timedelta(seconds=would_tell_s(said, policy.confidence))
    return round_up(at, policy.round_to_s, policy.zone)


def _date(at: datetime, policy: Policy) -> date:
    return at.astimezone(policy.zone).date()
