"""Access middleware: may this sender do this?

The entries of pages say what their addresses need; what addresses of `/v1` need stands here. An
address that is not listed needs `read` for looking and `write` for changing, so a new route is
closed until someone opens it. Middleware asks who sends, before any route runs, and leaves the
answer in the request's state; `api.routes.http.requests.Context` then sees that tenant only.
"""

from __future__ import annotations

import re
from http.cookies import CookieError, SimpleCookie
from urllib.parse import quote

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send

from solespan.api.errors import SolespanError
from solespan.api.problems import PROBLEMS
from solespan.api.routes.edge.gate import host_name_of
from solespan.api.routes.edge.proxy_watch import ProxyWatch
from solespan.api.routes.http.pace import Pace
from solespan.api.routes.http.page_entry import Need
from solespan.api.routes.http.pages import failure_page
from solespan.api.routes.http.problem_document import problem_response
from solespan.api.routes.page_register import PAGES
from solespan.api.services.accounts.home_devices import (
    HomeNetwork,
    home_cookie_name,
    home_identity,
)
from solespan.api.services.accounts.identity import THIS_MACHINE, Identity, identify
from solespan.api.services.accounts.security_log import SENDER, note
from solespan.api.services.accounts.sessions import session_cookie_name, session_limits
from solespan.api.services.context import AppContext

__all__ = ["Access", "need_of"]

SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})
# Signing in has limits of its own, so that one address does not lock out the others behind it.
OWN_LIMITS = frozenset({"/sign-in", "/sign-in/code"})
OPEN, SIGNED_IN = "open", "signed in"
NEEDS: tuple[Need, ...] = (
    Need(r"/v1/health/.*|/problems(/.*)?", OPEN, OPEN),
    Need(r"/metrics", OPEN, OPEN),  # the route asks for a token or an address
    Need(r"/calendar/.*", OPEN, OPEN),  # the address holds the secret
    Need(r"/v1/(members|invitations|tokens|audit|customers)(/.*)?", "manage", "manage"),
    Need(r"/v1/(sessions|second-factor)(/.*)?", SIGNED_IN, SIGNED_IN),
    Need(r"/v1/(notices|consents|bounces)(/.*)?", "read", "notices"),
    Need(r"/v1/customer-searches", "read", "read"),  # what is looked for stands in the body
    Need(r"/v1/(hook-endpoints|hook-events)(/.*)?", "manage", "manage"),
    *(need for page in PAGES for need in page.needs),
)
# Of the open addresses those that a device of the home network reaches before it is connected.
OPEN_AT_HOME = re.compile(
    r"/connect/[^/]*|/assets/.*|/app\.webmanifest|/sw\.js|/v1/health/.*|/calendar/.*|/answers/.*"
    r"|/bookings/.*|/unsubscribe/.*|/reminders/off/[^/]*|/shared/[^/]+",
    re.DOTALL,
)
# The first that matches counts.
_NEEDS = tuple((re.compile(n.pattern, re.DOTALL), n.look, n.change) for n in NEEDS)


def need_of(method: str, path: str) -> str:
    """Return the word that a sender must have to do this: see `api.services.accounts.identity`."""
    safe = method in SAFE_METHODS
    for pattern, look, change in _NEEDS:
        if pattern.fullmatch(path):
            return look if safe else change
    return "read" if safe else "write"


class Access:
    """Middleware that finds out who sends, and refuses what they may not do."""

    def __init__(self, app: ASGIApp, *, writes_per_minute: int) -> None:
        self.app = app
        self._pace = Pace(writes_per_minute)
        self._proxies = ProxyWatch()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse, or pass the request on with its sender in the state."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        services: AppContext = scope["app"].state.services
        state = scope.setdefault("state", {})
        home: HomeNetwork | None = scope["app"].state.home
        if not services.settings.accounts and home is None:
            state["identity"] = THIS_MACHINE
            tell_sender(THIS_MACHINE, scope)
            await self.app(scope, receive, send)
            return
        need = need_of(scope["method"], scope["path"])
        headers = Headers(scope=scope)
        self._proxies.look(scope, headers)
        try:
            who = await run_in_threadpool(_who, services, home, scope, headers)
        except SolespanError as error:  # no database, so nobody can be told from a stranger
            await _failure(error, scope, headers)(scope, receive, send)
            return
        state["identity"] = who
        tell_sender(who, scope)
        if home is not None and need == OPEN and not OPEN_AT_HOME.fullmatch(scope["path"]):
            need = SIGNED_IN
        kind = self._refusal(need, who, scope)
        if kind is None:
            await self.app(scope, receive, send)
            return
        if kind != "not-signed-in":
            note("access_refused", why=kind, need=need, method=scope["method"])
        await _refused(kind, who, scope, headers)(scope, receive, send)

    def _refusal(self, need: str, who: Identity | None, scope: Scope) -> str | None:
        if need != OPEN and who is None:
            return "not-signed-in"
        if need not in (OPEN, SIGNED_IN) and who is not None and need not in who.may:
            if who.must_enrol:
                return "second-factor-needed"
            return "not-allowed"
        # Who is not signed in is known by the network address.
        sender = f"{who.tenant_pk} {who.actor}" if who else f"at {(scope['client'] or ['?'])[0]}"
        changes = scope["method"] not in SAFE_METHODS and scope["path"] not in OWN_LIMITS
        if changes and self._pace.too_fast(sender):
            return "too-fast"
        return None


def _refused(kind: str, who: Identity | None, scope: Scope, headers: Headers) -> Response:
    wants_page = "text/html" in headers.get("accept", "")
    looks = wants_page and scope["method"] in SAFE_METHODS
    if kind == "not-signed-in" and wants_page and scope["app"].state.home is not None:
        # A stranger sees no more of the service than this page.
        return failure_page((), PROBLEMS[kind].status, *_NOT_CONNECTED)
    if kind == "not-signed-in" and looks:
        return RedirectResponse(f"/sign-in?to={quote(scope['path'], safe='')}", 303)
    if kind == "second-factor-needed" and looks:
        return RedirectResponse("/account/second-factor", 303)
    if kind == "not-allowed" and wants_page and who is not None and "own" in who.may:
        return RedirectResponse("/my", 303)  # a customer has this one page
    if wants_page:
        entries = scope["app"].state.navigation
        return failure_page(entries, PROBLEMS[kind].status, *_PAGES[kind])
    return problem_response(
        PROBLEMS[kind],
        instance=scope["path"],
        request_id=scope["state"].get("request_id", ""),
        headers=_HEADERS.get(kind, {}),
    )


def _failure(error: SolespanError, scope: Scope, headers: Headers) -> Response:
    if "text/html" in headers.get("accept", ""):
        entries = scope["app"].state.navigation
        return failure_page(entries, error.status, error.title, error.told())
    request_id = scope["state"].get("request_id", "")
    kind = PROBLEMS[error.code]
    return problem_response(kind, error.told()[0], instance=scope["path"], request_id=request_id)


def tell_sender(who: Identity | None, scope: Scope) -> None:
    """Tell the log of security events who sends this request, by ids."""
    sender = {"sender": who.log_name or "this machine" if who else "somebody"}
    SENDER.set(
        sender
        | ({"tenant": who.tenant_pk} if who else {})
        | {
            "address": (scope["client"] or ["?"])[0],
            "request_id": scope.get("state", {}).get("request_id", ""),
        }
    )


_PAGES = {
    "not-signed-in": (
        "Please sign in",
        ["You are not signed in, or were away too long.", "Sign in, then do this again."],
    ),
    "not-allowed": (
        "This is not allowed here",
        ["Your role in this shop does not allow this.", "Ask an owner."],
    ),
    "second-factor-needed": (
        "A second factor is needed here",
        ["Nothing was changed.", 'Add one under "Your account" first.'],
    ),
    "too-fast": (
        "Too many changes at once",
        ["Nothing was changed.", "Wait a minute, then try again."],
    ),
}
_NOT_CONNECTED = (
    "This device is not connected",
    [
        "Only devices that were let in can open these pages.",
        "On the machine that runs the service, open Devices and make a code. Scan it here.",
    ],
)
_HEADERS = {
    "not-signed-in": {"www-authenticate": 'Bearer realm="solespan"'},
    "too-fast": {"retry-after": "60"},
}


def _who(
    services: AppContext, home: HomeNetwork | None, scope: Scope, headers: Headers
) -> Identity | None:
    """Return who sends: a member, a customer, a program; or a device of the household."""
    now = services.clock.now()
    if home is not None:
        peer = (scope["client"] or ["?"])[0]
        if home.is_this_machine(peer, host_name_of(headers.get("host", "")), headers):
            return THIS_MACHINE
        key = _cookie_of(headers, home_cookie_name(services.settings))
        return home_identity(services.database, key, now) if key else None
    kind, _, bearer = headers.get("authorization", "").partition(" ")
    return identify(
        services.database,
        cookie=_cookie_of(headers, session_cookie_name(services.settings)),
        bearer=bearer.strip() if kind.lower() == "bearer" else None,
        now=now,
        limits=session_limits(services.settings),
    )


def _cookie_of(headers: Headers, name: str) -> str | None:
    cookies: SimpleCookie = SimpleCookie()
    try:
        cookies.load(headers.get("cookie", ""))
    except CookieError:
        cookies.clear()
    mine = cookies.get(name)
    return mine.value if mine else None
