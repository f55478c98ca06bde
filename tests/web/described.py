"""The API as described, for a fuzzer: narrowed to what there is at one booth, so that it comes beyond "not found"."""

from __future__ import annotations

from typing import Any

import schemathesis
from hypothesis import strategies as st

from portraitq.web import openapi
from tests.web.conftest import Web, jpeg

SET_UP = {"SetUp", "BoothSettings", "Style", "Stage", "Artist", "ThreeGuesses"}  # which says itself what there is
TOLD = {model.__name__ for model in openapi.ANSWERS} | {"Happened", "LastOrder", "OrderNow", "WallTicket", "Window"}


def described(web: Web) -> schemathesis.BaseSchema:
    """As the service describes itself, but booth, code, styles, artists, tickets and stages are those of `web`.

    Whatever fits this description fits the wide one; what is said of answers stays as it is.
    """
    schemathesis.openapi.media_type("image/jpeg", st.sampled_from([jpeg(), jpeg(64, 64)]))
    tickets = [web.order() for _ in range(3)]
    set_up = web.desk.standing(wait_s=30).booth.set_up
    assert set_up is not None
    there = {
        "booth": ["quay"],
        "code": [web.code(tickets[0])],
        "ticket": [*tickets, "T99"],
        "before": tickets,
        "style": [style.id for style in set_up.styles],
        "artist": [artist.id for artist in set_up.artists],
        "stage": [stage.id for style in set_up.styles for stage in style.stages],
    }
    document = web.client.get("/api/v1/openapi.json").json
    for operations in document["paths"].values():
        for parameter in operations.get("parameters", ()):
            parameter["schema"] = _narrowed(parameter["schema"], there.get(parameter["name"], []))
    for name, model in document["components"]["schemas"].items():
        if name not in SET_UP | TOLD:
            for field, schema in model.get("properties", {}).items():
                model["properties"][field] = _narrowed(schema, there.get(field, []))
    loaded = schemathesis.openapi.from_dict(document)
    loaded.app = web.app
    return loaded


def _narrowed(schema: Any, known: list[str]) -> Any:
    if not known:
        return schema
    if "anyOf" in schema:
        return {
            **schema,
            "anyOf": [_narrowed(one, known) if one.get("type") == "string" else one for one in schema["anyOf"]],
        }
    return {"type": "string", "enum": known}
