"""What every test has: generated journals are the same on every run, so that a failure can be looked at again; and a
passphrase's hash costs little.
"""

from collections.abc import Iterator

import pytest
from argon2 import PasswordHasher
from hypothesis import settings

from portraitq import passphrase

settings.register_profile("portraitq", derandomize=True, deadline=None)
settings.load_profile("portraitq")


@pytest.fixture(autouse=True, scope="session")
def _little_work_for_passphrases() -> Iterator[None]:
    """A passphrase's hash takes its time on purpose; here, where hundreds of booths are made, it need not."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(passphrase, "_hasher", PasswordHasher(time_cost=1, memory_cost=8, parallelism=1))
        yield
