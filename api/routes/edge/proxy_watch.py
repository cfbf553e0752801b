"""Proxy watch: do requests come through a proxy that the operator did not declare?

Behind such a proxy every sender has the proxy's address. So all strangers share one limit, and
cookies may lack Secure. The server puts the real sender in the place of a declared proxy; where the
sender is not among the forwarded addresses, nobody declared it.
"""

from __future__ import annotations

import time

import structlog
from starlette.datastructures import Headers
from starlette.types import Scope

__all__ = ["ProxyWatch"]

log = structlog.get_logger("solespan.proxy")

WARN_EVERY_S = 3600


class ProxyWatch:
    """What warns of an undeclared proxy, at most once an hour."""

    def __init__(self) -> None:
        self._warned_at: float | None = None

    def look(self, scope: Scope, headers: Headers) -> None:
        """Warn when a request was forwarded by a sender that is no declared proxy."""
        forwarded = headers.get("x-forwarded-for")
        if forwarded is None:
            return
        sender = (scope["client"] or ["?"])[0]
        if any(sender in part for part in forwarded.split(",")):
            return
        now = time.monotonic()
        if self._warned_at is None or now - self._warned_at >= WARN_EVERY_S:
            self._warned_at = now
            log.warning(
                "proxy_not_declared",
                address=sender,
                remedy="If this is your proxy, name it in SOLESPAN_TRUSTED_PROXIES.",
            )
