"""Stretches of time as sorted, disjoint pairs of instants: put together, cut out of each other, added up."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

Span = tuple[datetime, datetime]


def union(spans: Iterable[Span]) -> list[Span]:
    """`spans` sorted and joined where they touch; empty ones are dropped."""
    found: list[Span] = []
    for begins_at, ends_at in sorted(span for span in spans if span[0] < span[1]):
        if found and begins_at <= found[-1][1]:
            found[-1] = (found[-1][0], max(found[-1][1], ends_at))
        else:
            found.append((begins_at, ends_at))
    return found


def common(these: Iterable[Span], those: Iterable[Span]) -> list[Span]:
    """What lies in both."""
    left, right = union(these), union(those)
    found: list[Span] = []
    at_left = at_right = 0
    while at_left < len(left) and at_right < len(right):
        begins_at = max(left[at_left][0], right[at_right][0])
        ends_at = min(left[at_left][1], right[at_right][1])
        if begins_at < ends_at:
            found.append((begins_at, ends_at))
        if left[at_left][1] < right[at_right][1]:
            at_left += 1
        else:
            at_right += 1
    return found


def without(these: Iterable[Span], those: Iterable[Span]) -> list[Span]:
    """What lies in the first and not in the second."""
    whole = union(these)
    if not whole:
        return []
    begins_at, ends_at = whole[0][0], whole[-1][1]
    taken = [span for span in union(those) if span[1] > begins_at and span[0] < ends_at]
    edges = [begins_at, *(edge for span in taken for edge in span), ends_at]
    return common(whole, [span for span in zip(edges[::2], edges[1::2], strict=True) if span[0] < span[1]])


def length_s(spans: Iterable[Span]) -> float:
    """How long they are together, in seconds; they must be disjoint."""
    return sum((ends_at - begins_at).total_seconds() for begins_at, ends_at in spans)
