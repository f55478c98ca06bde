"""What breaks it? Whatever anybody may send, tried and counted, until something answers wrongly.

    .venv/bin/python scripts/fuzz.py [api] [core] [readers] [sockets] [--seed N] [--examples N] [--steps N] [--inputs N]

api       every operation of the API as its description says and against it, as a stranger, as staff and as the owner,
          with all of schemathesis' checks; `--examples` for each operation, way and role
core      any day that anybody can bring about, step by step, at least `--steps` of them (tests/core/any_day.py)
readers   `--inputs` bytes and texts for every place that reads some (tests/faults/readers.py)
sockets   `--inputs` odd live connections to a service that really runs (tests/faults/frames.py)

It needs what comes with the tests' own environment: python3 scripts/test.py makes it. Everything happens on this
computer and in folders of its own. It ends with 0 when all held, with 1 and a sentence for each thing that did not.
"""

from __future__ import annotations

import argparse
import io
import logging
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable
from contextlib import redirect_stderr
from pathlib import Path
from random import Random
from typing import Any

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))

from argon2 import PasswordHasher  # noqa: E402
from hypothesis import HealthCheck, given, seed, settings  # noqa: E402
from hypothesis.stateful import run_state_machine_as_test  # noqa: E402

from portraitq import passphrase  # noqa: E402

PARTS = ("api", "core", "readers", "sockets")
STEPS_A_DAY = 60
DAYS_AT_ONCE = 200
MOST_FAULTS = 20  # of one part; more would only repeat themselves
Faults = list[str]


def main(arguments: list[str]) -> int:
    asked = _asked(arguments)
    passphrase._hasher = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)  # it is not what is tried here
    faults: Faults = []
    for part in asked.parts or PARTS:
        began_s = time.monotonic()
        with tempfile.TemporaryDirectory(prefix="portraitq-fuzz-", ignore_cleanup_errors=True) as folder:
            found = RUN[part](asked, Path(folder))
        print(f"{part}: {time.monotonic() - began_s:.0f} s, {'all held' if not found else f'{len(found)} faults'}")
        faults += [f"{part}: {fault}" for fault in found]
    for fault in faults:
        print(fault)
    print(f"verdict (seed {asked.seed}): {'all held' if not faults else f'{len(faults)} faults'}")
    return 1 if faults else 0


def _asked(arguments: list[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("parts", nargs="*", metavar="PART", help="api, core, readers, sockets; all when left out")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--examples", type=int, default=500)
    parser.add_argument("--steps", type=int, default=100_000)
    parser.add_argument("--inputs", type=int, default=3000)
    parser.add_argument("--reader", action="append", default=[], metavar="NAME", help="only this one of the readers")
    asked = parser.parse_args(arguments)
    if unknown := set(asked.parts) - set(PARTS):
        parser.error(f"one of {', '.join(PARTS)} was expected, not {min(unknown)}")
    return asked


# The API


def api(asked: argparse.Namespace, folder: Path) -> Faults:
    """Every operation × as described or against it × role."""
    from schemathesis import GenerationMode

    from portraitq.store import devices
    from tests.web.conftest import make_web
    from tests.web.described import described

    web = make_web(folder)
    with web.desks.store.writing() as connection:
        keys = {role: devices.add(connection, role, web.desks.clock.now(), role) for role in devices.ROLES}
    roles = {"public": {}, **{role: {"Authorization": f"Bearer {key}"} for role, key in keys.items()}}
    document = described(web)
    operations = [
        (path, method)
        for path, found in web.client.get("/api/v1/openapi.json").json["paths"].items()
        for method in found
        if method in ("get", "post", "put", "patch", "delete")
    ]
    cases, answered, faults = Counter[str](), Counter[int](), Faults()
    for path, method in operations:
        for mode in GenerationMode:
            if mode is GenerationMode.NEGATIVE and path == "/healthz":
                continue  # it takes nothing, so nothing can be wrong about it
            strategy = document[path][method].as_strategy(generation_mode=mode)
            for role, headers in roles.items():

                @seed(asked.seed)
                @settings(max_examples=asked.examples, database=None, deadline=None, **QUIET)
                @given(case=strategy)
                def call(case: Any) -> None:
                    cases[role] += 1  # noqa: B023 # it is called at once
                    answer = case.call_and_validate(headers=headers)  # noqa: B023
                    answered[answer.status_code] += 1
                    assert answer.status_code < 500

                _tried(f"{method.upper()} {path}, {mode.value}, as {role}", call, faults)
    web.app.extensions["portraitq-live"].close()
    web.desks.close()
    by_role = ", ".join(f"{count} as {role}" for role, count in cases.items())
    by_status = ", ".join(f"{status} × {count}" for status, count in sorted(answered.items()))
    print(f"api: {len(operations)} operations, {cases.total()} cases ({by_role}); answers {by_status}")
    return faults


# The core


def core(asked: argparse.Namespace, folder: Path) -> Faults:
    """Days of steps until there are enough of them."""
    from tests.core.any_day import AnyDay, counted

    AnyDay.steps.clear()
    faults, at = Faults(), 0
    while AnyDay.steps.total() < asked.steps and not faults:
        days = min(DAYS_AT_ONCE, max(1, (asked.steps - AnyDay.steps.total()) // STEPS_A_DAY))
        how = settings(max_examples=days, stateful_step_count=STEPS_A_DAY, database=None, deadline=None, **QUIET)
        machine = seed(asked.seed * 1_000_003 + at)(type("AnyDay", (AnyDay,), {}))
        _tried("a day", lambda machine=machine, how=how: run_state_machine_as_test(machine, settings=how), faults)
        at += 1
    taken = sum(count for kind, count in AnyDay.steps.items() if kind.endswith("taken"))
    refused = sum(count for kind, count in AnyDay.steps.items() if kind.endswith("refused"))
    print(f"core: {AnyDay.steps.total()} steps, {taken} taken, {refused} refused; {counted(AnyDay.steps)}")
    return faults


# What reads


def readers(asked: argparse.Namespace, folder: Path) -> Faults:
    """Each reader with its share of the inputs: those that start a process or a store get fewer."""
    from tests.faults.readers import Readers

    faults = Faults()
    level = logging.getLogger().level
    logging.getLogger().setLevel(logging.INFO)
    with redirect_stderr(io.StringIO()):
        all_of = Readers(folder)
        try:
            for name in asked.reader or all_of.all:
                for at in range(max(1, round(asked.inputs * all_of.share[name]))):
                    chance = Random(f"{asked.seed} {name} {at}")
                    _tried(f"{name} {at}", lambda name=name, chance=chance: all_of.read(name, chance), faults)
            _tried("afterwards", all_of.assert_all_is_well, faults)
        finally:
            all_of.close()
            logging.getLogger().setLevel(level)
    each = ", ".join(f"{name} {all_of.tried[name]} ({all_of.taken[name]} taken)" for name in all_of.tried)
    print(f"readers: {all_of.tried.total()} inputs: {each}")
    print(f"readers: answers {', '.join(f'{what} × {count}' for what, count in sorted(all_of.answers.items()))}")
    return faults


def sockets(asked: argparse.Namespace, folder: Path) -> Faults:
    """Odd connections to a service of its own; afterwards it answers, and has kept quiet."""
    from tests.faults.frames import an_attack
    from tests.journeys.served import Served

    service, tried, faults = Served(folder), Counter[str](), Faults()
    service.start()
    try:
        for at in range(asked.inputs):
            chance = Random(f"{asked.seed} sockets {at}")
            _tried(f"connection {at}", lambda chance=chance: an_attack(service.port, chance, tried), faults)
        if not service.answers():
            faults.append("the service no longer answers")
    finally:
        service.stop()
    said = (folder / "said.txt").read_text()
    if "Traceback" in said:
        faults.append(f"the service wrote a traceback: {said[said.index('Traceback') :][:1500]}")
    print(f"sockets: {asked.inputs} connections: {', '.join(f'{count} {what}' for what, count in tried.items())}")
    return faults


QUIET: dict[str, Any] = {"suppress_health_check": list(HealthCheck), "derandomize": False}
RUN: dict[str, Callable[[argparse.Namespace, Path], Faults]] = {
    "api": api,
    "core": core,
    "readers": readers,
    "sockets": sockets,
}


def _tried(what: str, call: Callable[[], None], faults: Faults) -> None:
    """Note what went wrong, whatever it was; that is what this is for."""
    try:
        call()
    except Exception as wrong:  # noqa: BLE001
        where = traceback.extract_tb(wrong.__traceback__)[-1]
        if len(faults) < MOST_FAULTS:
            faults.append(
                f"{what}: {type(wrong).__name__}: {str(wrong)[:1500]} ({where.filename}, line {where.lineno})"
            )


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
