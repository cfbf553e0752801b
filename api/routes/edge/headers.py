"""Security headers.

Which headers stand on every answer, so that a browser cannot be turned against the reader?

The Content-Security-Policy lets pages load scripts, styles and data from this service only, and
nothing may frame them.
"""

from __future__ import annotations

from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

__all__ = ["SECURITY_HEADERS", "SecurityHeaders"]

CONTENT_SECURITY_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; "
    "connect-src 'self'; font-src 'self'; form-action 'self'; base-uri 'none'; "
    "worker-src 'self'; manifest-src 'self'; "
    "object-src 'none'; frame-ancestors 'none'"
)

SECURITY_HEADERS = {
    "content-security-policy": CONTENT_SECURITY_POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
}
# Answers are somebody's records: no shared cache may keep them, and a private one must ask again.
DEFAULT_CACHE_CONTROL = "private, no-cache"


class SecurityHeaders:
    """Middleware that sets `SECURITY_HEADERS` on every answer, errors and files included."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request with the headers added."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                headers.update(SECURITY_HEADERS)
                headers.setdefault("cache-control", DEFAULT_CACHE_CONTROL)
            await send(message)

        await self.app(scope, receive, send_with_headers)
