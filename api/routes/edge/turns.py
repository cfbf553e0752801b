"""Fair share middleware: when may a shop begin its next heavy piece of work?

One process serves all shops, and a heavy request keeps the pages of the others waiting. While more
than one shop is at work, each does one heavy request at a time. It spends a credit of seconds on
them, which grows by a tenth of a second each second. Without credit the next one waits, and is
refused where it would wait too long. A shop that works alone never waits.
"""

from __future__ import annotations

import asyncio
import re
import time
from collections.abc import Callable
from dataclasses import dataclass, field

from starlette.datastructures import Headers
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from solespan.api.problems import PROBLEMS
from solespan.api.routes.http.pages import failure_page
from solespan.api.routes.http.problem_document import problem_response

__all__ = ["FairShare", "Turns", "is_heavy"]

HEAVY = re.compile(
    r"/v1/(imports|fit|what-if|rack-plans|bench-plans|notices/(runs|template))"
    r"|/v1/([a-z-]+/batch|(imports|revisions)/[^/]+/undo)"
    r"|/(import(/.*)?|export/restore|past-forecasts|plan|(imports|revisions)/[^/]+/undo)"
    r"|/notices/(send|wording|letters)",
    re.DOTALL,
)
HEAVY_TO_READ = re.compile(r"/export/[^/]+|/v1/workload")
SHARE = 0.1
CREDIT_S = 1.0
LONGEST_WAIT_S = 15.0
MOST_WAITING = 8
AT_WORK_S = 10.0  # a shop that asked for anything in this time is at work


def is_heavy(method: str, path: str) -> bool:
    """Return whether a request may take much of the processor."""
    if method in {"GET", "HEAD"}:
        return HEAVY_TO_READ.fullmatch(path) is not None
    return method in {"POST", "PUT", "PATCH"} and HEAVY.fullmatch(path) is not None


@dataclass
class _Account:
    """What one shop may still spend, and who of it waits."""

    credit_s: float = CREDIT_S
    told_at: float = 0.0
    waiting: int = 0
    turn: asyncio.Lock = field(default_factory=asyncio.Lock)


class FairShare:
    """The credit of each shop, and which shops are at work. Times are seconds of `clock`."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._seen: dict[int, float] = {}
        self._accounts: dict[int, _Account] = {}

    def see(self, tenant_pk: int) -> None:
        """Note that a shop asks for something now."""
        self._seen[tenant_pk] = self._clock()

    def account(self, tenant_pk: int) -> _Account:
        """Return a shop's account."""
        return self._accounts.setdefault(tenant_pk, _Account(told_at=self._clock()))

    def wait_s(self, tenant_pk: int) -> float:
        """Return the seconds until a shop may begin; 0 where no other is at work."""
        now = self._clock()
        if all(now - at > AT_WORK_S for one, at in self._seen.items() if one != tenant_pk):
            return 0.0
        return max(0.0, -self._grown(tenant_pk).credit_s / SHARE)

    def spend(self, tenant_pk: int, seconds: float) -> None:
        """Take the seconds of a heavy request off a shop's credit."""
        self._grown(tenant_pk).credit_s -= seconds

    def _grown(self, tenant_pk: int) -> _Account:
        account, now = self.account(tenant_pk), self._clock()
        grown = account.credit_s + SHARE * (now - account.told_at)
        account.credit_s, account.told_at = min(CREDIT_S, grown), now
        return account


class Turns:
    """Middleware that lets the heavy requests of a shop pass one by one, as its credit allows."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app
        self.shares = FairShare()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the request on, now or later, or refuse it with a time to come back."""
        who = scope.get("state", {}).get("identity") if scope["type"] == "http" else None
        if who is None:
            await self.app(scope, receive, send)
            return
        shares, tenant_pk = self.shares, who.tenant_pk
        shares.see(tenant_pk)
        if not is_heavy(scope["method"], scope["path"]):
            await self.app(scope, receive, send)
            return
        account = shares.account(tenant_pk)
        wait_s = shares.wait_s(tenant_pk)
        if wait_s > LONGEST_WAIT_S or account.waiting >= MOST_WAITING:
            await _refuse(scope, receive, send, max(1, round(wait_s)))
            return
        account.waiting += 1
        try:
            async with account.turn:
                await asyncio.sleep(shares.wait_s(tenant_pk))
                work = _WorkTime(receive, send)
                try:
                    await self.app(scope, work.receive, work.send)
                finally:
                    shares.spend(tenant_pk, work.seconds)
        finally:
            account.waiting -= 1


class _WorkTime:
    """Time of the work on a request: from the last of its body to the first of its answer.

    A slow line at either end is not the shop's work.
    """

    def __init__(self, receive: Receive, send: Send) -> None:
        self._receive, self._send = receive, send
        self._begun = time.monotonic()
        self._answered: float | None = None

    @property
    def seconds(self) -> float:
        """How long the work took, or has taken until now."""
        return (self._answered or time.monotonic()) - self._begun

    async def receive(self) -> Message:
        message = await self._receive()
        if message["type"] == "http.request" and self._answered is None:
            self._begun = time.monotonic()
        return message

    async def send(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self._answered = time.monotonic()
        await self._send(message)


async def _refuse(scope: Scope, receive: Receive, send: Send, seconds: int) -> None:
    headers = {"retry-after": str(seconds)}
    if "text/html" in Headers(scope=scope).get("accept", ""):
        said = ["Nothing was changed.", f"Try again in {seconds} seconds."]
        kind = PROBLEMS["busy-with-others"]
        answer: Response = failure_page(
            scope["app"].state.navigation, kind.status, kind.title, said
        )
        answer.headers.update(headers)
    else:
        answer = problem_response(
            PROBLEMS["busy-with-others"],
            instance=scope["path"],
            request_id=scope.get("state", {}).get("request_id", ""),
            headers=headers,
        )
    await answer(scope, receive, send)
