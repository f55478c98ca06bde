"""Disks that can be filled, and be made to be only read: small file systems in memory, mounted for one test."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest


def _run(*words: str) -> None:
    subprocess.run(words, check=True, capture_output=True, timeout=60)


@contextmanager
def a_small_disk(folder: Path, megabytes: int) -> Iterator[Path]:
    """A file system of so many megabytes, mounted in `folder`; where nobody may mount, the test is left out."""
    disk = folder / "disk"
    disk.mkdir()
    try:
        _run("mount", "-t", "tmpfs", "-o", f"size={megabytes}m,mode=700", "tmpfs", str(disk))
    except (OSError, subprocess.CalledProcessError) as no:
        pytest.skip(f"this account may not mount a file system: {no}")
    try:
        yield disk
    finally:
        _run("umount", "--lazy", str(disk))


@contextmanager
def the_same_disk(disk: Path) -> Iterator[Path]:
    """A second way to `disk`, which `only_read` can shut for writing while the first one stays as it is."""
    way = disk.with_name("way")
    way.mkdir()
    _run("mount", "--bind", str(disk), str(way))
    try:
        yield way
    finally:
        _run("umount", "--lazy", str(way))


@contextmanager
def only_read(way: Path) -> Iterator[None]:
    """The way leads to a disk that can only be read while the block runs."""
    _run("mount", "-o", "remount,bind,ro", str(way))
    try:
        yield
    finally:
        _run("mount", "-o", "remount,bind,rw", str(way))


@contextmanager
def full(disk: Path) -> Iterator[None]:
    """Not a byte more goes onto the disk while the block runs."""
    filler = disk / "filler"
    with filler.open("wb", buffering=0) as file:
        for size in (1 << 16, 1 << 12, 1):
            try:
                while file.write(bytes(size)) == size:
                    pass
            except OSError:
                continue
        os.fsync(file.fileno())
    try:
        yield
    finally:
        filler.unlink()
