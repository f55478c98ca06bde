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
    others = union(those)
    return [
        (max(begins_at, from_at), min(ends_at, to_at))
        for begins_at, ends_at in union(these)
        for from_at, to_at in others
        if max(begins_at, from_at) < min(ends_at, to_at)
    ]


def without(these: Iterable[Span], those: Iterable[Span]) -> list[Span]:
    """What lies in the first and not in the second."""
    left = union(these)
    for from_at, to_at in union(those):
        left = [
            part
            for begins_at, ends_at in left
            for part in ((begins_at, min(ends_at, from_at)), (max(begins_at, to_at), ends_at))
            if part[0] < part[1]
        ]
    return left


def length_s(spans: Iterable[Span]) -> float:
    """How long they are together, in seconds; they must be disjoint."""
    return sum((ends_at - begins_at).total_seconds() for begins_at, ends_at in spans)
