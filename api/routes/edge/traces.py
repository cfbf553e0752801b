"""Trace middleware: which span does a request have?

A span has method, route template and status. No address, id or query stands in it.
"""

from __future__ import annotations

from typing import Any

from starlette.types import ASGIApp, Message, Receive, Scope, Send

__all__ = ["Traces"]


class Traces:
    """Middleware that puts each request into a span of `tracer`."""

    def __init__(self, app: ASGIApp, *, tracer: Any) -> None:
        self.app = app
        self._tracer = tracer

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request within its span."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        method = scope["method"]
        # An exception's message may quote data, so it is not recorded.
        kept: dict[str, bool] = {"record_exception": False, "set_status_on_exception": False}
        with self._tracer.start_as_current_span(method, **kept) as span:

            async def send_noted(message: Message) -> None:
                if message["type"] == "http.response.start":
                    span.set_attribute("http.response.status_code", message["status"])
                await send(message)

            try:
                await self.app(scope, receive, send_noted)
            finally:
                route = scope["app"].state.route_templates.of(scope)
                span.update_name(f"{method} {route}".strip())
                span.set_attributes({"http.request.method": method, "http.route": route})
