"""OpenAPI document.

What does the API's description say beyond what the routes say: senders, errors, subjects, files?

FastAPI writes the document from the routes. `describe` completes it once, by rules that hold for
every operation, so a new route needs no words of its own. Clients are generated from the result.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from fastapi import FastAPI
from fastapi.routing import APIRoute

from solespan.api.problems import PROBLEMS
from solespan.api.routes.edge.access import OPEN, SAFE_METHODS, SIGNED_IN, need_of
from solespan.api.routes.edge.description_words import ABOUT, LICENCE, TAGS
from solespan.api.routes.edge.examples import add_examples
from solespan.api.routes.http.problem_document import MEDIA_TYPE
from solespan.api.routes.http.requests import FILE, MERGE_PATCH
from solespan.api.schemas.service import Problem
from solespan.api.services.accounts.sessions import session_cookie_name
from solespan.api.settings import Settings

__all__ = ["describe", "operation_id", "operations"]


_UPLOAD = "application/octet-stream"
_PROBLEM = {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}}
_STATUSES = sorted({kind.status for kind in PROBLEMS.values()})
_LINK = {
    "description": "where the next page is, with rel=next (RFC 8288); left out on the last page",
    "schema": {"type": "string"},
}


def operation_id(route: APIRoute) -> str:
    """Name an operation by its function: a verb and a noun, as a generated client calls it."""
    return route.name


def describe(app: FastAPI, settings: Settings) -> None:
    """Complete the document that `app.openapi` makes."""
    make = app.openapi
    finished: dict[str, Any] = {}

    def openapi() -> dict[str, Any]:
        nonlocal finished
        document = make()
        if document is not finished:
            _complete(document, settings)
            finished = document
        return document

    app.openapi = openapi  # type: ignore[method-assign]


def _complete(document: dict[str, Any], settings: Settings) -> None:
    document["info"] |= {"description": ABOUT, "license": LICENCE}
    document["servers"] = [{"url": settings.public_address or "/", "description": "This service"}]
    document["tags"] = [{"name": name, "description": text} for name, text in TAGS.items()]
    components = document.setdefault("components", {})
    schemas = components.setdefault("schemas", {})
    own = Problem.model_json_schema(ref_template="#/components/schemas/{model}")
    schemas |= own.pop("$defs", {}) | {"Problem": own}
    components["headers"] = {"Link": _LINK}
    components["responses"] = {f"Problem{status}": _problem(status) for status in _STATUSES}
    components["securitySchemes"] = _schemes(settings)
    used = set()
    for method, path, operation in operations(document):
        operation["security"] = _security(method, path, settings)
        known = list(_problem_statuses(method, operation))
        used |= {*known}
        _state_headers(operation)
        answers = {str(s): {"$ref": f"#/components/responses/Problem{s}"} for s in known}
        operation["responses"] = dict(sorted((answers | operation["responses"]).items()))
        if any(p["name"] == "after" for p in operation.get("parameters", ())):
            headers = operation["responses"]["200"].setdefault("headers", {})
            headers["Link"] = {"$ref": "#/components/headers/Link"}
        if method == "PATCH":
            media = operation["requestBody"]["content"]
            operation["requestBody"]["content"] = {MERGE_PATCH: media["application/json"]}
        _name_form(schemas, operation)
    for status in {*_STATUSES} - used:
        del components["responses"][f"Problem{status}"]
    _mark_files(document)
    add_examples(operations(document))


def operations(document: Mapping[str, Any]) -> Iterator[tuple[str, str, dict[str, Any]]]:
    """Give method, path and description of every operation."""
    for path, methods in document["paths"].items():
        for method, operation in methods.items():
            yield method.upper(), path, operation


def _schemes(settings: Settings) -> dict[str, Any]:
    return {
        "bearer": {
            "type": "http",
            "scheme": "bearer",
            "description": "A key that an owner makes under Members and keys.",
        },
        "session": {
            "type": "apiKey",
            "in": "cookie",
            "name": session_cookie_name(settings),
            "description": "The session of a browser that signed in.",
        },
        "signature": {
            "type": "apiKey",
            "in": "header",
            "name": "webhook-signature",
            "description": "What the service signs a hook with.",
        },
    }


def _security(method: str, path: str, settings: Settings) -> list[dict[str, list[str]]]:
    """Say by which ways a sender may prove who they are; the words are what they must have."""
    need = need_of(method, path)
    if need == OPEN:
        return []
    words = [] if need == SIGNED_IN else [need]
    ways: list[dict[str, list[str]]] = [{"bearer": words}, {"session": words}]
    return ways if settings.accounts else [*ways, {}]


def _problem_statuses(method: str, operation: Mapping[str, Any]) -> Iterator[int]:
    """Give the statuses of the errors that an operation of this shape can answer."""
    parameters = operation.get("parameters", ())
    places = {parameter["in"] for parameter in parameters}
    changes, body = method not in SAFE_METHODS, "requestBody" in operation
    yield 400
    if operation["security"]:
        yield from (401, 403, 503)
    if changes:
        yield from (403, 409, 429)
    if "path" in places:
        yield 404
    if body:
        yield from (413, 415)
    if body or places & {"path", "query"}:
        yield 422
    if any(parameter["name"].lower() == "if-match" for parameter in parameters):
        yield from (412, 428)


def _problem(status: int) -> dict[str, Any]:
    kinds = [kind for kind in PROBLEMS.values() if kind.status == status]
    return {
        "description": "; ".join(kind.title for kind in kinds),
        "content": {
            MEDIA_TYPE: {
                **_PROBLEM[MEDIA_TYPE],
                "examples": {
                    kind.name: {
                        "value": {
                            "type": kind.uri,
                            "title": kind.title,
                            "status": status,
                            "detail": kind.meaning,
                            "remedy": kind.remedy,
                        }
                    }
                    for kind in kinds
                },
            }
        },
    }


def _state_headers(operation: Mapping[str, Any]) -> None:
    """Say of each header that it is text, and that a change needs If-Match."""
    for parameter in operation.get("parameters", ()):
        if parameter["in"] == "header":
            parameter["schema"] = {"type": "string"}
            parameter["required"] = parameter["name"].lower() == "if-match"


def _name_form(schemas: dict[str, Any], operation: Mapping[str, Any]) -> None:
    """Name the schema of a form after its operation; FastAPI names it `Body_` and an address."""
    for media in operation.get("requestBody", {}).get("content", {}).values():
        old = media["schema"].get("$ref", "").rpartition("/")[2]
        if old.startswith("Body_"):
            new = "".join(word.title() for word in operation["operationId"].split("_")) + "Form"
            schemas[new] = schemas.pop(old) | {"title": new}
            media["schema"]["$ref"] = f"#/components/schemas/{new}"


def _mark_files(part: Any) -> None:
    """Give every uploaded file the format that generators of clients know."""
    if isinstance(part, dict):
        if part.get("contentMediaType") == _UPLOAD:
            del part["contentMediaType"]
            part |= FILE
        for below in part.values():
            _mark_files(below)
    elif isinstance(part, list):
        for below in part:
            _mark_files(below)
