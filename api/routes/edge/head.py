"""HEAD middleware: how does every address that takes GET answer HEAD too (RFC 9110, 9.3.2)?"""

from __future__ import annotations

from starlette.types import ASGIApp, Message, Receive, Scope, Send

__all__ = ["HeadAsGet"]


class HeadAsGet:
    """Middleware that asks for what GET would answer, and sends its head alone."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request; what is recorded of it says HEAD."""
        if scope["type"] != "http" or scope["method"] != "HEAD":
            await self.app(scope, receive, send)
            return

        async def send_head(message: Message) -> None:
            if message["type"] == "http.response.body":
                if message.get("more_body", False):
                    return
                message = {"type": "http.response.body", "body": b""}
            await send(message)

        scope["method"] = "GET"
        try:
            await self.app(scope, receive, send_head)
        finally:
            scope["method"] = "HEAD"
