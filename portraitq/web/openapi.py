"""The API described in OpenAPI 3.1, out of the models that validate and shape its messages.

What JSON Schema cannot say (that quick guesses are not above slow ones, that a style exists) is refused with 409; what
it can say and is not so is malformed, 422.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any
from zoneinfo import available_timezones

from pydantic import BaseModel
from pydantic.json_schema import models_json_schema

from portraitq import __version__
from portraitq.photo.kind import TAKEN
from portraitq.web import wire
from portraitq.web.order_form import LONGEST_CONSENT, LONGEST_CONTACT, LONGEST_NAME, LONGEST_NOTE, MOST_PHOTOS

Json = dict[str, Any]

REF = "#/components/schemas/{model}"
# The years are the journal's; a pattern says all of a day that a pattern can, the format says the rest.
DAY = r"(19|2[0-9])[0-9]{2}-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])"
FORMS = {
    "date": f"^{DAY}$",
    "date-time": rf"^{DAY}T([01][0-9]|2[0-3]):[0-5][0-9]:[0-5][0-9]\.[0-9]{{3}}Z$",
}
# pydantic leaves the bounds of "a whole number or any" in its own words
BOUNDS = {"ge": "minimum", "le": "maximum", "gt": "exclusiveMinimum", "lt": "exclusiveMaximum"}
STAFF: list[Json] = [{"deviceKey": []}, {"session": []}]
REQUESTS: tuple[type[BaseModel], ...] = (wire.Asked, wire.NewOrder, *wire.COMMANDS.values())
ANSWERS: tuple[type[BaseModel], ...] = (
    wire.Done,
    wire.Quoted,
    wire.Taken,
    wire.Wall,
    wire.TicketShown,
    wire.Problem,
    wire.Health,
)
BY = {
    "name": "X-Portraitq-By",
    "in": "header",
    "description": "Which device says so, as the journal names it; the counter when it is left out.",
    "schema": {"type": "string", "pattern": "^(counter|system|easel:[a-z0-9-]{1,32})$", "default": "counter"},
}
BOOTH = {
    "name": "booth",
    "in": "path",
    "required": True,
    "schema": {"type": "string", "pattern": "^[a-z0-9-]{1,32}$"},
}
WHY_NOT = {
    401: "Nobody is signed in, and no device key came along.",
    403: "A signed-in browser's request came without its page's token, or a device of the staff asked for what is the "
    "owner's alone: commands of the kinds set_up and erased.",
    404: "There is no such booth or ticket.",
    409: "Well formed, but it may not happen as the booth stands. Nothing has changed.",
    413: "The body is too large.",
    415: "The body is of another kind than expected.",
    422: "The body or a parameter has not the form described here; `field` names where.",
    429: "Too many codes that are no ticket's came in. A right code is always answered.",
    503: "The store does not answer. Nothing has changed.",
}


@lru_cache(maxsize=4)
def document(cookie: str) -> Json:
    """The OpenAPI document; `cookie` is the name of the session cookie."""
    return {
        "openapi": "3.1.0",
        "info": {
            "title": "portraitq",
            "version": __version__,
            "summary": "A portrait queue and timing board: what is true at a booth, and the commands that change it.",
            "license": {"name": "MIT", "identifier": "MIT"},
        },
        "servers": [{"url": "/"}],
        "paths": _paths(),
        "components": {
            "schemas": _schemas(),
            "securitySchemes": {
                "deviceKey": {
                    "type": "http",
                    "scheme": "bearer",
                    "description": "A key that `portraitq device add NAME` printed.",
                },
                "session": {
                    "type": "apiKey",
                    "in": "cookie",
                    "name": cookie,
                    "description": "A signed-in browser; what changes something also needs the page's token in "
                    "the header X-Portraitq-Token.",
                },
            },
        },
    }


def _paths() -> Json:
    return {
        "/healthz": {
            "get": {
                "operationId": "health",
                "summary": "Whether the program is alive and its store answers.",
                "security": [],
                "responses": {"200": _json("Alive.", "Health"), **_refusals(503)},
            }
        },
        "/api/v1/booths/{booth}/wall": {
            "parameters": [BOOTH],
            "get": {
                "operationId": "wall",
                "summary": "What the wall shows.",
                "security": [],
                "responses": {"200": _json("The wall.", "Wall"), **_refusals(404, 503)},
            },
        },
        "/api/v1/tickets/{code}": {
            "parameters": [
                {
                    "name": "code",
                    "in": "path",
                    "required": True,
                    "description": "Typed as one likes: case, hyphens and blanks do not matter, O is 0, I and L are 1.",
                    "schema": {"type": "string", "minLength": 1, "maxLength": 64},
                }
            ],
            "get": {
                "operationId": "ticket",
                "summary": "What the ticket page shows.",
                "security": [],
                "responses": {"200": _json("The ticket.", "TicketShown"), **_refusals(404, 429, 503)},
            },
        },
        "/api/v1/booths/{booth}/quote": {
            "parameters": [BOOTH],
            "post": {
                "operationId": "quote",
                "summary": "When such a portrait, ordered now, would be ready. Changes nothing.",
                "security": STAFF,
                "requestBody": _body("Asked"),
                "responses": {
                    "200": _json("The quote.", "Quoted"),
                    **_refusals(401, 403, 404, 409, 413, 415, 422, 503),
                },
            },
        },
        "/api/v1/booths/{booth}/commands": {
            "parameters": [BOOTH],
            "post": {
                "operationId": "command",
                "summary": "Carry out a command. The same id again gives the same answer and changes nothing.",
                "security": STAFF,
                "parameters": [BY],
                "requestBody": _body("Command"),
                "responses": {
                    "200": _json("What it did.", "Done"),
                    **_refusals(401, 403, 404, 409, 413, 415, 422, 503),
                },
            },
        },
        "/api/v1/booths/{booth}/orders": {
            "parameters": [BOOTH],
            "post": {
                "operationId": "order",
                "summary": "Take an order with its card and its photos in one transaction.",
                "security": STAFF,
                "parameters": [BY],
                "requestBody": _order_form(),
                "responses": {
                    "201": {
                        **_json("Taken; the same id again gives the same answer.", "Taken"),
                        "headers": {"Location": {"required": True, "schema": {"type": "string"}}},
                    },
                    **_refusals(401, 403, 404, 409, 413, 415, 422, 503),
                },
            },
        },
        "/api/v1/booths/{booth}/journal": {
            "parameters": [BOOTH],
            "get": {
                "operationId": "journal",
                "summary": "The journal's lines after a seq, one JSON object a line.",
                "security": STAFF,
                "parameters": [
                    {
                        "name": "after",
                        "in": "query",
                        "schema": {"type": "integer", "minimum": 0, "maximum": 10**15 - 1, "default": 0},
                    }
                ],
                "responses": {
                    "200": {
                        "description": "The lines, oldest first.",
                        "content": {"application/jsonl": {"schema": {"type": "string"}}},
                    },
                    **_refusals(401, 404, 422, 503),
                },
            },
        },
    }


def _json(said: str, model: str) -> Json:
    return {"description": said, "content": {"application/json": {"schema": _ref(model)}}}


def _body(model: str) -> Json:
    return {"required": True, "content": {"application/json": {"schema": _ref(model)}}}


def _ref(model: str) -> Json:
    return {"$ref": REF.format(model=model)}


def _refusals(*statuses: int) -> Json:
    return {
        str(status): {
            "description": WHY_NOT[status],
            "content": {"application/problem+json": {"schema": _ref("Problem")}},
        }
        for status in statuses
    }


def _order_form() -> Json:
    photo = {"type": "string", "contentMediaType": "image/jpeg"}
    form = {
        "type": "object",
        "additionalProperties": False,
        "required": ["order"],
        "properties": {
            "order": _ref("NewOrder"),
            "name": {"type": "string", "maxLength": LONGEST_NAME},
            "contact": {"type": "string", "maxLength": LONGEST_CONTACT},
            "note": {"type": "string", "maxLength": LONGEST_NOTE},
            "is_child": {"type": "string", "enum": ["true", "false"]},
            "consent_by": {
                "type": "string",
                "maxLength": LONGEST_CONSENT,
                "description": "Which parent or guardian agreed; needed where the sitter is a child.",
            },
            "photo": {
                "type": "array",
                "items": photo,
                "maxItems": MOST_PHOTOS,
                "description": f"Files: {', '.join(TAKEN[:-1])} or {TAKEN[-1]}.",
            },
        },
        "if": {"properties": {"is_child": {"const": "true"}}, "required": ["is_child"]},
        "then": {"properties": {"consent_by": {"pattern": "[^\\s]"}}, "required": ["consent_by"]},
    }
    # a range and no list of kinds: fuzzers take each kind of a list for one that they have to make
    encoding = {"order": {"contentType": "application/json"}, "photo": {"contentType": "image/*"}}
    return {"required": True, "content": {"multipart/form-data": {"schema": form, "encoding": encoding}}}


def _schemas() -> Json:
    asked = [(model, "validation") for model in REQUESTS]
    told = [(model, "serialization") for model in ANSWERS]
    _, found = models_json_schema([*asked, *told], ref_template=REF)  # type: ignore[list-item]
    schemas: Json = found["$defs"]
    names = [model.__name__ for model in wire.COMMANDS.values()]
    schemas["Command"] = {
        "description": "What somebody at the booth wants, in the kinds of the journal.",
        "oneOf": [_ref(name) for name in names],
        "discriminator": {
            "propertyName": "kind",
            "mapping": {kind: REF.format(model=model.__name__) for kind, model in wire.COMMANDS.items()},
        },
    }
    schemas["BoothSettings"]["properties"]["zone"]["enum"] = sorted(available_timezones())
    _tighten(schemas)
    return schemas


def _tighten(schema: Any) -> None:
    """Say of every instant all that a pattern can, and the bounds of numbers in JSON Schema's own words."""
    if isinstance(schema, dict):
        if schema.get("format") in FORMS:
            schema["pattern"] = FORMS[schema["format"]]
        if schema.get("anyOf") == [{"type": "integer"}, {"type": "number"}]:
            del schema["anyOf"]
            schema["type"] = "number"
        for ours, theirs in BOUNDS.items():
            if ours in schema and "type" in schema:
                schema[theirs] = schema.pop(ours)
        for part in schema.values():
            _tighten(part)
    elif isinstance(schema, list):
        for part in schema:
            _tighten(part)
