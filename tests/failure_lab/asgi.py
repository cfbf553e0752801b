"""Requests to a service in a thread of their own; a kill there reaches the sender here.

A browser test before, in the same process, may have left its event loop in this thread.
"""

from __future__ import annotations

import asyncio
import json
from concurrent.futures import ThreadPoolExecutor
from contextvars import copy_context
from dataclasses import dataclass
from typing import Any

__all__ = ["Answer", "ask"]


@dataclass(frozen=True)
class Answer:
    """What a service answered."""

    status: int
    headers: dict[str, str]
    body: bytes

    def json(self) -> Any:
        return json.loads(self.body)


def ask(
    app: Any, method: str, path: str, body: Any = None, headers: dict[str, str] | None = None
) -> Answer:
    """Send one request and wait for its answer; what unwinds the service unwinds its sender."""
    content = b"" if body is None else json.dumps(body).encode()
    sent: list[dict[str, Any]] = []

    async def receive() -> dict[str, Any]:
        return {"type": "http.request", "body": content, "more_body": False}

    async def send(message: dict[str, Any]) -> None:
        sent.append(message)

    path, _, query = path.partition("?")
    named = {"host": "127.0.0.1", "content-type": "application/json", **(headers or {})}
    scope = {
        "type": "http",
        "asgi": {"version": "3.0"},
        "http_version": "1.1",
        "method": method,
        "scheme": "http",
        "path": path,
        "raw_path": path.encode(),
        "query_string": query.encode(),
        "root_path": "",
        "headers": [(name.encode(), value.encode()) for name, value in named.items()],
        "client": ("127.0.0.1", 1),
        "server": ("127.0.0.1", 80),
    }
    with ThreadPoolExecutor(1) as pool:
        pool.submit(copy_context().run, asyncio.run, app(scope, receive, send)).result()
    told = {name.decode(): value.decode() for name, value in sent[0]["headers"]}
    return Answer(sent[0]["status"], told, b"".join(one.get("body", b"") for one in sent[1:]))
