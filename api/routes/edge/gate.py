"""Request gate.

Should this request be let in at all: its host, where it comes from, and how large it is?

Five requests are refused before any route runs. The first has a Host header that was not configured
(a foreign name that resolves to loopback). The second has an address with a control character: a
route's pattern ends before a line's end, so two addresses would be one route. The third is a change
that, as the browser says, comes from another site. The fourth has a body over the limit, which is
counted while it streams in. The fifth has a head over the limit. A body that comes too slowly is
refused as well, by the time for all of it and not for each piece.
"""

from __future__ import annotations

import asyncio
import re
import time
from collections.abc import Collection
from urllib.parse import urlsplit

from starlette.datastructures import Headers
from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from solespan.api.problems import PROBLEMS, ProblemKind
from solespan.api.routes.http.problem_document import problem_response

__all__ = ["Gate", "host_name_of"]

SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})
SAME_SITE = frozenset({"same-origin", "none"})  # none = typed address or bookmark
MOST_HEADERS = 100
MOST_HEAD_BYTES = 32 * 1024
BODY_S = 30.0  # for all of a body, and a second more for each BYTES_PER_S of it that has come
BYTES_PER_S = 50_000
CONTROL = re.compile(r"[\x00-\x1f\x7f]")


class Gate:
    """Middleware that refuses what no route should see.

    `allowed_hosts` are host names without port; `max_body_bytes` holds everywhere except under
    `upload_path`, where `max_upload_bytes` does.
    """

    def __init__(
        self,
        app: ASGIApp,
        *,
        allowed_hosts: Collection[str],
        max_body_bytes: int,
        upload_path: str | tuple[str, ...],
        max_upload_bytes: int,
    ) -> None:
        self.app = app
        self.allowed_hosts = frozenset(host.lower() for host in allowed_hosts)
        self.max_body_bytes = max_body_bytes
        self.upload_path = upload_path
        self.max_upload_bytes = max_upload_bytes

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse, or pass the request on with its body counted."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        limit = (
            self.max_upload_bytes
            if scope["path"].startswith(self.upload_path)
            else self.max_body_bytes
        )
        refusal = _head_fault(scope) or self._refusal(scope, headers, limit)
        if refusal is not None:
            kind, detail = refusal
            answer = problem_response(
                kind,
                detail,
                instance=scope["path"],
                request_id=scope.get("state", {}).get("request_id", ""),
                headers={"connection": "close"},
            )
            await answer(scope, receive, send)
            return
        await self.app(scope, _counted(receive, limit), send)

    def _refusal(
        self, scope: Scope, headers: Headers, limit: int
    ) -> tuple[ProblemKind, str] | None:
        if host_name_of(headers.get("host", "")) not in self.allowed_hosts:
            return PROBLEMS["unknown-host"], ""
        if CONTROL.search(scope["path"]):
            return PROBLEMS["bad-request"], "the address holds a control character"
        if scope["method"] not in SAFE_METHODS and _from_another_site(scope, headers):
            return PROBLEMS["cross-site"], ""
        declared = headers.get("content-length", "0")
        if not declared.isascii() or not declared.isdigit():
            return PROBLEMS["bad-request"], "Content-Length is not a whole number"
        if int(declared) > limit:
            return PROBLEMS["too-large"], f"the body may hold at most {limit} bytes"
        return None


def _head_fault(scope: Scope) -> tuple[ProblemKind, str] | None:
    size = sum(len(name) + len(value) for name, value in scope["headers"])
    size += len(scope["path"]) + len(scope["query_string"])
    too_large = size > MOST_HEAD_BYTES or len(scope["headers"]) > MOST_HEADERS
    return (PROBLEMS["head-too-large"], "") if too_large else None


def host_name_of(host: str) -> str:
    """Return the name in a Host header without its port; empty where there is none."""
    try:
        return (urlsplit(f"//{host}").hostname or "").lower()
    except ValueError:
        return ""


def _from_another_site(scope: Scope, headers: Headers) -> bool:
    """Believe Sec-Fetch-Site where the browser sends it, else compare Origin with Host."""
    fetch_site = headers.get("sec-fetch-site")
    if fetch_site is not None:
        return fetch_site not in SAME_SITE
    origin = headers.get("origin")
    if origin is None:
        return False  # not a browser: no ambient rights to misuse
    return origin.lower() != f"{scope['scheme']}://{headers.get('host', '')}".lower()


def _counted(receive: Receive, limit: int) -> Receive:
    seen, begun, whole = 0, time.monotonic(), False

    async def receive_counted() -> Message:
        nonlocal seen, whole
        if whole:  # what comes now is that the sender goes
            return await receive()
        left = begun + BODY_S + seen / BYTES_PER_S - time.monotonic()
        try:
            message = await asyncio.wait_for(receive(), max(left, 0.0))
        except TimeoutError:
            raise HTTPException(
                408, "the body was not there in time", {"connection": "close"}
            ) from None
        if message["type"] == "http.request":
            whole = not message.get("more_body", False)
            seen += len(message.get("body", b""))
            if seen > limit:
                raise HTTPException(413, f"the body may hold at most {limit} bytes")
        return message

    return receive_counted
