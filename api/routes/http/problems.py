"""Problem handlers.

How does every failure become a problem document, and where is its kind explained?
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any

from fastapi import APIRouter, FastAPI, Path, Request, Response
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.routing import Match

from solespan.api.errors import DatabaseUnavailable, SolespanError
from solespan.api.problems import PROBLEMS, ProblemKind, kind_of_status
from solespan.api.routes.http.pages import failure_page
from solespan.api.routes.http.problem_document import problem_response
from solespan.api.routes.http.requests import MERGE_PATCH, PROBLEM_ANSWERS
from solespan.api.services.rack.records import RecordRefused

__all__ = ["add_problem_handlers", "router"]

router = APIRouter(prefix="/problems", tags=["service"], responses=PROBLEM_ANSWERS)
MAX_FIELD_ERRORS = 50
METHODS = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE")
NO_PAGE = (
    "There is no page here",
    ["Look whether the address is right. A form that was sent already has no page of its own."],
)
_TEXT = {"content": {"text/plain": {"schema": {"type": "string"}}}}


def _text(lines: list[str]) -> Response:
    return Response("\n".join(lines) + "\n", media_type="text/plain; charset=utf-8")


@router.get("", response_class=Response, responses={200: _TEXT})
def list_problems() -> Response:
    """List every kind of error in words."""
    return _text([f"{kind.uri}  {kind.status}  {kind.title}" for kind in PROBLEMS.values()])


@router.get("/{name}", response_class=Response, responses={200: _TEXT})
def read_problem(
    name: Annotated[
        str, Path(max_length=60, description="last part of the type. Unit: none (word)")
    ],
) -> Response:
    """Explain one kind of error in words."""
    kind = PROBLEMS.get(name)
    if kind is None:
        raise HTTPException(404, "no error of this service has that name")
    return _text([kind.title, "", f"HTTP status {kind.status}", "", kind.meaning, "", kind.remedy])


def add_problem_handlers(app: FastAPI) -> None:
    """Turn the program's, the framework's and the messages' errors into problem documents."""
    app.add_exception_handler(SolespanError, _own)
    app.add_exception_handler(RequestValidationError, _invalid)
    app.add_exception_handler(HTTPException, _framework)


def _answer(request: Request, kind: ProblemKind, detail: str, **more: Any) -> Response:
    return problem_response(
        kind,
        detail,
        instance=request.url.path,
        request_id=request.scope.get("state", {}).get("request_id", ""),
        **more,
    )


def _own(request: Request, error: Exception) -> Response:
    if not isinstance(error, SolespanError):
        raise error
    kind = PROBLEMS[error.code]
    if isinstance(error, DatabaseUnavailable):
        return _answer(request, kind, error.told()[0])
    more: dict[str, Any] = {}
    if isinstance(error, RecordRefused):
        more["errors"] = [
            {"pointer": f"#/{fault.field}", "detail": fault.why, "accepted": fault.accepted}
            for fault in error.faults
        ]
    elif error.where:
        more["where"] = error.where
    more |= getattr(error, "extensions", {})
    if error.remedy:
        more["remedy"] = error.remedy
    if error.accepted and "errors" not in more:
        more["accepted"] = error.accepted
    if hasattr(error, "retry_after_s"):
        more["headers"] = {"retry-after": str(error.retry_after_s)}
    return _answer(request, kind, error.what, **more)


def _invalid(request: Request, error: Exception) -> Response:
    if not isinstance(error, RequestValidationError):
        raise error
    found = error.errors()
    if any(fault["type"] == "json_invalid" for fault in found):
        return _answer(request, PROBLEMS["bad-request"], "the body is not well-formed JSON")
    # What was sent is not repeated: it may be long, and it is somebody's.
    errors = [_field_error(fault, error.body) for fault in found[:MAX_FIELD_ERRORS]]
    first = errors[0]
    detail = f"{first.get('parameter') or first.get('pointer')}: {first['detail']}"
    return _answer(request, PROBLEMS["invalid-input"], detail, errors=errors)


def _field_error(fault: Any, body: Any) -> dict[str, str]:
    place, *path = fault["loc"]
    detail = str(fault["msg"]).removeprefix("Value error, ")
    if place == "body":
        parts = "/".join(
            str(part).replace("~", "~0").replace("/", "~1") for part in _places(fault, path, body)
        )
        return {"pointer": f"#/{parts}" if parts else "#", "detail": detail}
    return {"parameter": ".".join(str(part) for part in path) or str(place), "detail": detail}


def _places(fault: Any, path: list[str | int], body: Any) -> Iterator[str | int]:
    """Leave out of a path which kind of a union was read: the body has no such place."""
    for part in path:
        lacking = isinstance(body, dict) and part not in body
        if lacking and not (fault["type"] == "missing" and part == path[-1]):
            continue
        yield part
        try:
            body = body[part]
        except (LookupError, TypeError):
            body = None


def _framework(request: Request, error: Exception) -> Response:
    if not isinstance(error, HTTPException):
        raise error
    kind = kind_of_status(error.status_code)
    headers = {name.lower(): value for name, value in (error.headers or {}).items()}
    detail = "" if error.status_code in (404, 405) else error.detail
    if error.status_code == 404 and error.detail != "Not Found":
        detail = error.detail
    if error.status_code == 405:
        methods = _methods_at(request)
        headers["allow"] = ", ".join(methods)
        if request.method == "OPTIONS":
            patch = {"accept-patch": MERGE_PATCH} if "PATCH" in methods else {}
            return Response(status_code=204, headers=headers | patch)
    if _is_for_a_reader(request) and error.status_code in (404, 405):
        return failure_page(request.app.state.navigation, error.status_code, *NO_PAGE)
    return _answer(request, kind, detail, headers=headers)


def _is_for_a_reader(request: Request) -> bool:
    """Whether a browser loads a page: not the service's own addresses, and HTML is accepted."""
    path, accepted = request.url.path, request.headers.get("accept", "")
    return request.method == "GET" and "text/html" in accepted and not path.startswith("/v1/")


def _methods_at(request: Request) -> list[str]:
    """Return every method of this address: the framework names only those of its first route."""
    scope = dict(request.scope)
    taken = {
        method
        for method in METHODS
        if any(
            route.matches(scope | {"method": method})[0] is Match.FULL
            for route in request.app.routes
        )
    }
    also = {"OPTIONS"} | ({"HEAD"} if "GET" in taken else set())
    return [method for method in (*METHODS, "OPTIONS") if method in taken | also]
