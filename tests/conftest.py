"""What every test has: generated journals are the same on every run, so that a failure can be looked at again; and a
passphrase's hash costs little. And what a test may ask for: `where`, a database of each kind that a booth can have.
"""

from collections.abc import Iterator
from pathlib import Path

import pytest
from argon2 import PasswordHasher
from hypothesis import settings

from portraitq import passphrase
from tests.postgres import Postgres, a_cluster

settings.register_profile("portraitq", derandomize=True, deadline=None)
settings.load_profile("portraitq")
# These mostly wait, for a hand or a line; the others mostly compute.
WAITING = ("tests/journeys/", "tests/web/test_page_scripts.py", "tests/web/test_strange_messages.py")
EACH = 4  # computing files after each waiting one; so the last of the long waits begins well before the end


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mix files that wait with files that compute, each file in one piece: six that wait leave a processor idle."""
    files: dict[str, list[pytest.Item]] = {}
    for item in items:
        files.setdefault(item.nodeid.partition("::")[0], []).append(item)
    waiting = [name for name in files if name.startswith(WAITING)]
    computing = [name for name in files if not name.startswith(WAITING)]
    mixed: list[str] = []
    for at, name in enumerate(waiting):
        mixed += [name, *computing[at * EACH : (at + 1) * EACH]]
    items[:] = [item for name in [*mixed, *computing[len(waiting) * EACH :]] for item in files[name]]


@pytest.fixture(autouse=True, scope="session")
def _little_work_for_passphrases() -> Iterator[None]:
    """A passphrase's hash takes its time on purpose; here, where hundreds of booths are made, it need not."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(passphrase, "_hasher", PasswordHasher(time_cost=1, memory_cost=8, parallelism=1))
        yield


@pytest.fixture(scope="session")
def postgres() -> Iterator[Postgres]:
    """A PostgreSQL of this process's own, started by the first test that asks for it."""
    with a_cluster() as cluster:
        yield cluster


@pytest.fixture(params=["sqlite", "postgresql"])
def where(request: pytest.FixtureRequest, tmp_path: Path) -> Path | str:
    """Where `open_store` finds a store in which nothing stands: a folder, and the address of one on a server."""
    if request.param == "sqlite":
        return tmp_path
    server: Postgres = request.getfixturevalue("postgres")
    return server.emptied()
