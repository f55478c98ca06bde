"""A picture for tests of the store, which never looks into one."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Picture:
    jpeg: bytes = b"\xff\xd8 whole"
    small_jpeg: bytes = b"\xff\xd8 small"
    width_px: int = 1200
    height_px: int = 1600
