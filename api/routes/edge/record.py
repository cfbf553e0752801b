"""Request record.

What is written down about each request, and what is answered when the service itself fails?

One log line per request: request id, method, route template, status, milliseconds; of a refusal
also the kind of sender. No ids of people or pairs, no query, no body. An uncaught exception becomes
a 500 problem document. Its kind and places in the code go to the log, but not its message, which
may quote data.
"""

from __future__ import annotations

import time
import uuid

import structlog
from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from solespan.api.logs import places_of
from solespan.api.problems import PROBLEMS
from solespan.api.routes.edge.route_template import sender_kind
from solespan.api.routes.http.problem_document import problem_response

__all__ = ["RequestRecord"]

log = structlog.get_logger("solespan.request")


class RequestRecord:
    """Outermost middleware: a request id, one log line, and an answer to every failure."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request and record it."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        request_id = uuid.uuid4().hex
        scope.setdefault("state", {})["request_id"] = request_id
        started = time.perf_counter()
        status = 0

        async def send_recorded(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                MutableHeaders(scope=message)["x-request-id"] = request_id
            await send(message)

        with structlog.contextvars.bound_contextvars(request_id=request_id):
            try:
                await self.app(scope, receive, send_recorded)
            except Exception as failure:
                log.error("request_failed", **places_of(failure))  # noqa: TRY400 - no message, see above
                if status:
                    raise
                answer = problem_response(
                    PROBLEMS["internal-error"], instance=scope["path"], request_id=request_id
                )
                await answer(scope, receive, send_recorded)
            finally:
                seconds = time.perf_counter() - started
                state = scope["app"].state
                route = state.route_templates.of(scope)
                sender = sender_kind(scope["state"].get("identity"))
                log.info(
                    "request",
                    method=scope["method"],
                    route=route,
                    status=status,
                    duration_ms=round(seconds * 1000, 1),
                    **({"sender": sender} if status >= 400 else {}),
                )
                state.metrics.observe(
                    method=scope["method"],
                    route=route,
                    status=status,
                    sender=sender,
                    seconds=seconds,
                )
