"""Problem document (RFC 9457): how is one kind of failure answered?

Field errors stand in the extension member `errors`; no answer holds a stack trace.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from starlette.responses import JSONResponse

from solespan.api.problems import ProblemKind

__all__ = ["MEDIA_TYPE", "problem_response", "retry_header"]

MEDIA_TYPE = "application/problem+json"
RETRY_AFTER_S = 5


def retry_header(status: int) -> dict[str, str]:
    """Say when to come again, where the service cannot answer for now."""
    return {"retry-after": str(RETRY_AFTER_S)} if status == 503 else {}


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
    sent = retry_header(kind.status) | dict(headers or {})
    return JSONResponse(body, kind.status, sent, MEDIA_TYPE)
