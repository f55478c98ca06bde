"""Where photos are developed: a file that breaks its decoder, or eats memory, breaks nothing else.

`develop` does what `photo.intake.take_in` does, in a process of its own: one worker, one photo at a time, whoever came
first goes first. A photo that ends two workers, wants more than `LARGEST_MEMORY_BYTES` or takes longer than `LONGEST_S`
is refused in one sentence, and the next one finds a new worker. What decoding may take is bounded in `intake.py`.

The worker is made when the first photo comes or when `warm` asks for it. It holds no socket of the service (`spawn`
hands none on), leaves Ctrl-C to the service, and ends when the service has gone, however it went. A file larger than
`HANDED_OVER_BYTES` travels under a name in the folder for temporary files, readable by nobody else; the worker takes
the name away as soon as it has opened it, the service once more whatever became of the worker.

Where no process can be made, photos are developed in this one.
"""

from __future__ import annotations

import contextlib
import ctypes
import io
import logging
import multiprocessing
import os
import shutil
import signal
import tempfile
import threading
import time
import warnings
from collections.abc import Iterator
from concurrent.futures import CancelledError, ProcessPoolExecutor, ThreadPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path
from typing import Any, BinaryIO

from portraitq.core.errors import Malformed
from portraitq.photo.intake import LARGEST_BYTES, Photo, take_in

LONGEST_S = 30.0  # a photo of 100 megapixels takes 1 to 3 s on a laptop, ten times that on the smallest boards
TRIES = 2  # a worker can have ended by itself, or been ended to free memory, without the photo's doing
START_S = 60.0  # a busy small board takes its time
LARGEST_MEMORY_BYTES = 2_500_000_000  # of addresses, the program itself included; `intake.py` says what photos take
HANDED_OVER_BYTES = 8_000_000  # most photos of phones are smaller and travel in memory; copying costs 1 ms a megabyte
log = logging.getLogger(__name__)


class Darkroom:
    """One worker, and the line of those who wait for it. What is known of the worker belongs to the line's thread."""

    def __init__(self, longest_s: float = LONGEST_S, largest_memory_bytes: int = LARGEST_MEMORY_BYTES) -> None:
        self.longest_s, self.largest_memory_bytes = longest_s, largest_memory_bytes
        self.worker: int | None = None  # the id of its process, while there is one
        self._pool: ProcessPoolExecutor | None = None
        self._line = ThreadPoolExecutor(1, "darkroom")
        self._has_told = self._is_closing = False

    def develop(self, file: bytes | BinaryIO) -> Photo:
        """The photo in `file`, as `take_in` makes it; Malformed, field "photo", when there is none to be had."""
        try:
            return self._line.submit(self._one, file).result()
        except CancelledError as closing:
            raise _stopping() from closing

    def warm(self) -> None:
        """Make the worker by and by, so that the first photo need not wait for it."""
        self._line.submit(self._open)

    def close(self) -> None:
        """End the worker. Photos in hand and those that wait are refused."""
        self._is_closing = True
        self._line.shutdown(wait=False, cancel_futures=True)
        self._kill()
        self._line.shutdown(wait=True)
        self._drop()

    def _one(self, file: bytes | BinaryIO) -> Photo:
        for _ in range(TRIES):
            pool = self._open()
            if pool is None:
                return take_in(file)
            try:
                with _handed_over(file) as given:
                    return pool.submit(_develop, given, self.longest_s).result(self.longest_s)
            except TimeoutError as late:
                self._kill()
                self._drop()
                log.warning("a photo was given up after %g s", self.longest_s)
                raise Malformed(
                    f"This photo was not read within {self.longest_s:g} seconds, which is more than any should take. "
                    "Take another, or choose a smaller copy.",
                    field="photo",
                ) from late
            except BrokenProcessPool:
                self._drop()
                if self._is_closing:
                    raise _stopping() from None
                log.warning("the process that reads photos ended with one in hand")
        raise Malformed(
            "This photo is damaged in a way that ended the program which read it. "
            "Take another, or choose another file.",
            field="photo",
        )

    def _open(self) -> ProcessPoolExecutor | None:
        """The pool with its one worker awake, or None where none can be made."""
        if self._pool is None:
            try:
                self._pool = ProcessPoolExecutor(
                    1, multiprocessing.get_context("spawn"), _at_work, (self.largest_memory_bytes,)
                )
                with _no_interruption():
                    awake = self._pool.submit(os.getpid)
                self.worker = awake.result(START_S)
            except (OSError, ImportError, RuntimeError, TimeoutError) as wrong:
                self._drop()
                if not self._has_told:
                    log.warning("photos are developed in the service itself, for no process could be made: %r", wrong)
                self._has_told = True
        return self._pool

    def _kill(self) -> None:
        if self.worker is not None:
            with contextlib.suppress(OSError):  # it has ended by itself
                os.kill(self.worker, getattr(signal, "SIGKILL", signal.SIGTERM))

    def _drop(self) -> None:
        """Forget the worker, so that the next photo gets a new one."""
        pool, was_awake, self._pool, self.worker = self._pool, self.worker is not None, None, None
        if pool is not None:
            pool.shutdown(wait=was_awake, cancel_futures=True)


def _stopping() -> Malformed:
    return Malformed("The service is being stopped: send the photo again when it is back.", field="photo")


_lock = threading.Lock()
_darkroom: Darkroom | None = None


def develop(file: bytes | BinaryIO) -> Photo:
    """The photo in `file`, as `intake.take_in` makes it, but in a process of its own.

    Raises  Malformed, field "photo", with one sentence; also when the worker died of it or gave it up
    """
    return _opened().develop(file)


def warm() -> None:
    """Make the worker in the background: the first photo is then as quick as all others."""
    _opened().warm()


def close() -> None:
    """End the worker; a photo that comes afterwards makes a new one."""
    global _darkroom
    with _lock:
        closing, _darkroom = _darkroom, None
    if closing is not None:
        closing.close()


def _opened() -> Darkroom:
    global _darkroom
    with _lock:
        if _darkroom is None:
            _darkroom = Darkroom()
        return _darkroom


# Between the two processes


@contextlib.contextmanager
def _handed_over(file: bytes | BinaryIO) -> Iterator[bytes | str]:
    """What the worker is given for `file`: its bytes, or the path of a copy that is gone afterwards."""
    if isinstance(file, bytes):
        file = io.BytesIO(file)
    if not file.seekable():
        file = io.BytesIO(file.read(LARGEST_BYTES + 1))
    length = file.seek(0, io.SEEK_END)
    file.seek(0)
    if length > LARGEST_BYTES:
        take_in(file)  # refuses it, in its own words
    if length <= HANDED_OVER_BYTES:
        yield file.read()
        return
    handle, path = tempfile.mkstemp(prefix="portraitq-")  # mode 0600
    try:
        with open(handle, "wb") as copy:
            shutil.copyfileobj(file, copy, 1 << 20)
        yield path
    finally:
        with contextlib.suppress(FileNotFoundError):
            os.unlink(path)


@contextlib.contextmanager
def _no_interruption() -> Iterator[None]:
    """Ctrl-C, kept from a process that is made meanwhile: it inherits what this thread does not listen to."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


# In the worker


def _at_work(largest_memory_bytes: int) -> None:
    """Once, as the worker begins: what it heeds, and what it may take."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    warnings.simplefilter("ignore")  # oddities of a customer's photo are nothing for the service's log
    threading.Thread(target=_end_with_the_service, name="is the service there", daemon=True).start()
    _first_to_go()
    _limit("RLIMIT_AS", largest_memory_bytes)
    _limit("RLIMIT_CORE", 0)  # a core file would hold the photo


def _end_with_the_service() -> None:
    service = multiprocessing.parent_process()
    assert service is not None
    service.join()
    os._exit(0)


def _first_to_go() -> None:
    """Where memory runs out, Linux shall end this process and not the service."""
    with contextlib.suppress(OSError):
        Path("/proc/self/oom_score_adj").write_text("800")


def _limit(name: str, most: int) -> None:
    """Hold this process to `most` of a resource, where the platform can."""
    try:
        import resource
    except ImportError:
        return
    which: Any = getattr(resource, name, None)
    if which is None:
        return
    with contextlib.suppress(ValueError, OSError):  # macOS knows RLIMIT_AS and refuses to set it
        resource.setrlimit(which, (most, resource.getrlimit(which)[1]))


def _develop(given: bytes | str, longest_s: float) -> Photo:
    """One photo. Should the service be gone while a decoder listens to nothing, the limit of CPU time ends it."""
    _limit("RLIMIT_CPU", int(time.process_time() + longest_s * (os.cpu_count() or 1)) + 2)  # decoders have threads
    try:
        if isinstance(given, bytes):
            return take_in(given)
        with open(given, "rb") as file:
            if os.name == "posix":
                os.unlink(given)
            return take_in(file)
    finally:
        _give_memory_back()


def _give_memory_back() -> None:
    """Let glibc return what it keeps for itself: after 100 megapixels of HEIC that was 450 MB, and is 25 MB."""
    with contextlib.suppress(AttributeError, OSError, TypeError):  # another C library
        ctypes.CDLL(None).malloc_trim(0)
