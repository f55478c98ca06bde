"""How many files the service may hold open at once: each phone that watches is one, and so is each look into the store.

Many systems let a program begin with 1024 and more if it asks. Where even that is not enough, whoever comes next waits
at the door until somebody leaves; nobody who is in is sent away.
"""

from __future__ import annotations

import errno
import logging

WANTED = 4096  # a thousand live connections, their threads' looks into the store, and room beside them
USED_UP = (errno.EMFILE, errno.ENFILE)
log = logging.getLogger(__name__)


def as_many_as_may_be() -> None:
    """Ask the system for as many as are wanted, or for as many as it gives."""
    try:
        import resource
    except ImportError:  # Windows counts otherwise
        return
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = WANTED if hard == resource.RLIM_INFINITY else min(WANTED, hard)
    if soft != resource.RLIM_INFINITY and soft < wanted:
        try:
            resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, hard))
        except (ValueError, OSError) as no:  # macOS has a further limit of its own
            log.warning("The system lets portraitq open %d files at once, not %d: %s", soft, wanted, no)
