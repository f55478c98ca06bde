"""Whether the description of the API is valid, and whether it is true: a fuzzer calls everything that it describes."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
import schemathesis
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openapi_spec_validator import validate
from schemathesis import GenerationMode

from portraitq.core.commands import ASKED
from portraitq.store import devices
from portraitq.web import openapi
from tests.web.conftest import Web, make_web
from tests.web.described import described

EXAMPLES = 15  # an operation; the commands have one for each kind


def test_the_description_is_valid_openapi_3_1():
    document = openapi.document("portraitq")

    validate(document)
    assert document["openapi"].startswith("3.1")


def test_every_address_of_the_api_is_described_and_nothing_else(web: Web):
    served = {
        (rule.rule.replace("<", "{").replace(">", "}"), method.lower())
        for rule in web.app.url_map.iter_rules()
        for method in rule.methods or ()
        if rule.rule.startswith("/api/") and method not in ("HEAD", "OPTIONS")
    }

    told = {
        (path, method)
        for path, operations in openapi.document("portraitq")["paths"].items()
        for method in operations
        if method in ("get", "post", "put", "delete", "patch")
    }

    assert served - {("/api/v1/openapi.json", "get")} == told - {("/healthz", "get")}


def test_every_command_is_described():
    mapping = openapi.document("portraitq")["components"]["schemas"]["Command"]["discriminator"]["mapping"]

    assert list(mapping) == list(ASKED)


@pytest.fixture(scope="module")
def fuzzed(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Web]:
    made = make_web(Path(tmp_path_factory.mktemp("fuzz")))
    yield made
    made.app.extensions["portraitq-live"].close()
    made.desks.close()


@pytest.fixture(scope="module")
def keys(fuzzed: Web) -> dict[str, dict[str, str]]:
    """What each of those who may ask sends along."""
    with fuzzed.desks.store.writing() as connection:
        found = {role: devices.add(connection, role, fuzzed.desks.clock.now(), role) for role in devices.ROLES}
    return {"public": {}} | {role: {"Authorization": f"Bearer {key}"} for role, key in found.items()}


@pytest.fixture(scope="module")
def api(fuzzed: Web) -> schemathesis.BaseSchema:
    return described(fuzzed)


OPERATIONS = [
    (path, method)
    for path, operations in openapi.document("portraitq")["paths"].items()
    for method in operations
    if method in ("get", "post")
]


@pytest.mark.parametrize("mode", list(GenerationMode), ids=lambda mode: mode.value)
@pytest.mark.parametrize(("path", "method"), OPERATIONS, ids=[f"{method} {path}" for path, method in OPERATIONS])
def test_the_api_does_what_its_description_says(
    api: schemathesis.BaseSchema, keys: dict[str, dict[str, str]], path: str, method: str, mode: GenerationMode
):
    if mode is GenerationMode.NEGATIVE and path == "/healthz":
        pytest.skip("it takes nothing, so nothing can be wrong about it")
    cases = api[path][method].as_strategy(generation_mode=mode)

    @settings(max_examples=EXAMPLES, deadline=None, suppress_health_check=list(HealthCheck))
    @given(case=cases, role=st.sampled_from(["owner", "owner", "staff", "public"]))
    def call(case: schemathesis.Case, role: str) -> None:
        case.call_and_validate(headers=keys[role])

    call()
