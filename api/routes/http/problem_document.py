"""Problem document (RFC 9457): how is one kind of failure answered?

Field errors stand in the extension member `errors`; no answer holds a stack trace.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from starlette.responses import JSONResponse

from solespan.api.problems import ProblemKind

__all__ = ["MEDIA_TYPE", "problem_response"]

MEDIA_TYPE = "application/problem+json"


def problem_response(
    kind: ProblemKind,
    detail: str = "",
    *,
    instance: str = "",
    request_id: str = "",
    headers: Mapping[str, str] | None = None,
    **extensions: Any,
) -> JSONResponse:
    """One problem document: RFC 9457's members, the remedy, the request id, and extensions."""
    body: dict[str, Any] = {
        "type": kind.uri,
        "title": kind.title,
        "status": kind.status,
        "detail": detail or kind.meaning,
        "remedy": kind.remedy,
        "instance": instance,
        "request_id": request_id,
    }
    body = {name: value for name, value in body.items() if value != ""} | extensions
    return JSONResponse(body, kind.status, dict(headers or {}), MEDIA_TYPE)
