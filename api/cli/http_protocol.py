"""HTTP protocol: how long may a sender take for the head of a request, and how large may it be?

The server counts a head that is not complete, and ends the connection where it takes too long or
grows too large. The body has limits of its own in `api.routes.edge.gate`.
"""

from __future__ import annotations

import json
from asyncio import TimerHandle, Transport
from http import HTTPStatus

from uvicorn.protocols.http.httptools_impl import HttpToolsProtocol

from solespan.api.problems import PROBLEMS

__all__ = ["BoundedProtocol"]

HEAD_S = 10.0
MOST_HEAD_BYTES = 32 * 1024


class BoundedProtocol(HttpToolsProtocol):
    """HTTP over one connection, whose heads are bounded in time and size."""

    _timer: TimerHandle | None = None
    _head_bytes = 0

    def connection_made(self, transport: Transport) -> None:  # type: ignore[override]
        """Let the time for the first head begin."""
        super().connection_made(transport)
        self._wait_for_head()

    def connection_lost(self, exc: Exception | None) -> None:
        """Let go of the timer."""
        self._head_came()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Pass on what came; refuse a head that has not ended by its limit."""
        before = self.cycle
        if self._timer is None and (before is None or before.response_complete):
            self._wait_for_head()
        if self._timer is not None:
            self._head_bytes += len(data)
        super().data_received(data)
        if self.cycle is not before:
            self._head_came()
        elif self._timer is not None and self._head_bytes > MOST_HEAD_BYTES:
            self._refuse("head-too-large")

    def _wait_for_head(self) -> None:
        self._head_bytes = 0
        self._timer = self.loop.call_later(HEAD_S, self._refuse, "too-slow")

    def _head_came(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def _refuse(self, name: str) -> None:
        self._head_came()
        if self.transport.is_closing():
            return
        kind = PROBLEMS[name]
        told = {"type": kind.uri, "title": kind.title, "status": kind.status}
        body = json.dumps(told | {"detail": kind.meaning, "remedy": kind.remedy}).encode()
        head = (
            f"HTTP/1.1 {kind.status} {HTTPStatus(kind.status).phrase}\r\n"
            "content-type: application/problem+json\r\n"
            f"content-length: {len(body)}\r\nconnection: close\r\n\r\n"
        )
        self.transport.write(head.encode() + body)
        self.transport.close()
