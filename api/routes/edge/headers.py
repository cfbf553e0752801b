"""Security headers.

Which headers stand on every answer, so that a browser cannot be turned against the reader?

The Content-Security-Policy lets pages load scripts, styles and data from this service only, and
nothing may frame them. The preview of a mail is the one exception: our own page frames it, and it
can run, load and send nothing. Over https a browser is told to use nothing else for this host
(RFC 6797).

Without TLS a browser names the site that sends a form by its origin alone, and the gate compares
it. Where pages ask for no referrer at all, that origin is `null` (Fetch, section 3.1). So a home
network without TLS asks for none to other sites only.
"""

from __future__ import annotations

from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from solespan.api.routes.http.framed_mail import MAIL_POLICY

__all__ = ["SECURITY_HEADERS", "SecurityHeaders"]

CONTENT_SECURITY_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; "
    "connect-src 'self'; font-src 'self'; form-action 'self'; base-uri 'none'; "
    "worker-src 'self'; manifest-src 'self'; "
    "object-src 'none'; frame-src 'self'; frame-ancestors 'none'"
)

SECURITY_HEADERS = {
    "content-security-policy": CONTENT_SECURITY_POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
}
TO_NO_OTHER_SITE = {"referrer-policy": "same-origin"}
TLS_ONLY = "max-age=31536000; includeSubDomains"  # a year
# Answers are somebody's records: no shared cache may keep them, and a private one must ask again.
DEFAULT_CACHE_CONTROL = "private, no-cache"


class SecurityHeaders:
    """Middleware that sets `SECURITY_HEADERS` on every answer, errors and files included.

    With `over_tls` others reach the service by https, whichever way the proxy speaks to it. With
    `plain_home` devices of a home network reach it without.
    """

    def __init__(self, app: ASGIApp, *, over_tls: bool, plain_home: bool = False) -> None:
        self.app = app
        self.over_tls = over_tls
        self.headers = SECURITY_HEADERS | (TO_NO_OTHER_SITE if plain_home else {})

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request with the headers added."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        over_tls = self.over_tls or scope["scheme"] == "https"

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                framed = headers.get("content-security-policy") == MAIL_POLICY
                headers.update(self.headers)
                if framed:
                    headers["content-security-policy"] = MAIL_POLICY
                if over_tls:
                    headers["strict-transport-security"] = TLS_ONLY
                headers.setdefault("cache-control", DEFAULT_CACHE_CONTROL)
            await send(message)

        await self.app(scope, receive, send_with_headers)
