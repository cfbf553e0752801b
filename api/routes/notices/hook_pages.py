"""Page routes of hooks.

Which addresses of the shop's own software are told of events, and what were they told?
"""

from __future__ import annotations

from fastapi import APIRouter, Request, Response
from fastapi.responses import HTMLResponse

from solespan.api.bench_words import EVENT_KINDS
from solespan.api.errors import NotFound, SolespanError
from solespan.api.routes.http.page_entry import Need, PageEntry
from solespan.api.routes.http.pages import (
    PageRoute,
    Typed,
    Words,
    back_to,
    page_answer,
    refuse_foreign_form,
    told,
)
from solespan.api.routes.http.requests import Context
from solespan.api.schemas.forms import FormProblem, read_form, text_of
from solespan.api.schemas.notices.hook_endpoints import HookEndpointGiven
from solespan.api.services.context import AppContext
from solespan.api.services.notices.hooks import endpoints
from solespan.dashboards.pages.notices.hooks import hooks_page
from solespan.dashboards.pages.rack.pair import FormState

__all__ = ["PAGE"]

router = APIRouter(route_class=PageRoute)
SHOWN_EVENTS = 50
KIND = "kind:"  # then the kind of event
_SAYS = {"url": "give an address that begins with https://", "note": "give one line"}
_DONE = {
    "added": "The endpoint is set up. Copy its secret below.",
    "changed": "The endpoint is changed.",
    "rotated": "There is a new secret. The old one signs as well for 24 hours.",
    "deleted": "The endpoint is deleted.",
    "resent": "The event goes out again.",
}


@router.get("/hooks")
def read_hooks(ctx: Context, request: Request, done: Words = "") -> HTMLResponse:
    """Show the endpoints and the newest events."""
    return _hooks(ctx, request, done=_DONE.get(done, ""))


def _hooks(
    ctx: AppContext,
    request: Request,
    *,
    forms: dict[str, FormState] | None = None,
    done: str = "",
    status: int = 200,
) -> HTMLResponse:
    with ctx.database.reading() as session:
        rows = endpoints.list_endpoints(session)
        secrets = {
            row["endpoint_id"]: endpoints.read_secret(session, row["endpoint_id"]) for row in rows
        }
        events = endpoints.list_events(session, limit=SHOWN_EVENTS)
    context = hooks_page(rows, events, secrets, EVENT_KINDS, ctx.clock.now())
    context |= {"forms": forms or {}, "empty_form": FormState({"active": "true"}), "done": done}
    return page_answer(request, "notices/hooks.html", context, status)


def _read(typed: dict[str, str]) -> HookEndpointGiven:
    kinds = [kind for kind in EVENT_KINDS if typed.get(KIND + kind)]
    asked = {name: typed.get(name, "") for name in ("url", "note", "active")}
    # every box ticked is the same as none: all kinds, also those to come
    more = {"kinds": [] if len(kinds) == len(EVENT_KINDS) else kinds}
    return read_form(HookEndpointGiven, asked, more=more, says=_SAYS)


@router.post("/hooks")
def add_hook(ctx: Context, request: Request, typed: Typed) -> Response:
    """Set up an endpoint."""
    try:
        refuse_foreign_form(request, typed)
        given = _read(typed | {"active": "true"})
        with ctx.database.writing() as session:
            endpoints.add_endpoint(ctx, session, given)
    except FormProblem as problem:
        return _wrong(ctx, request, "", typed, problem.errors)
    except SolespanError as error:
        return _wrong(ctx, request, "", typed, {error.where: told(error)})
    return back_to("/hooks", done="added")


@router.post("/hooks/{endpoint_id}/change")
def change_hook(ctx: Context, request: Request, endpoint_id: str, typed: Typed) -> Response:
    """Change an endpoint's address, kinds, note or state."""
    version = text_of(typed, "version")
    versions = (
        frozenset({int(version)}) if version.isdecimal() and len(version) < 10 else frozenset()
    )
    try:
        refuse_foreign_form(request, typed)
        given = _read(typed)
        with ctx.database.writing() as session:
            endpoints.change_endpoint(ctx, session, endpoint_id, given, versions)
    except FormProblem as problem:
        return _wrong(ctx, request, endpoint_id, typed, problem.errors)
    except NotFound:
        raise
    except SolespanError as error:
        return _wrong(ctx, request, endpoint_id, typed, {error.where: told(error)})
    return back_to("/hooks", done="changed")


def _wrong(
    ctx: AppContext, request: Request, which: str, typed: dict[str, str], errors: dict[str, str]
) -> HTMLResponse:
    known = {field if field in ("url", "note") else "": said for field, said in errors.items()}
    return _hooks(ctx, request, forms={which: FormState(typed, known)}, status=422)


@router.post("/hooks/{endpoint_id}/rotate")
def rotate_hook(ctx: Context, request: Request, endpoint_id: str, typed: Typed) -> Response:
    """Make a new secret for an endpoint."""
    refuse_foreign_form(request, typed)
    with ctx.database.writing() as session:
        endpoints.rotate_secret(session, endpoint_id, ctx.clock.now())
    return back_to("/hooks", done="rotated")


@router.post("/hooks/{endpoint_id}/delete")
def delete_hook(ctx: Context, request: Request, endpoint_id: str, typed: Typed) -> Response:
    """Delete an endpoint with its events."""
    refuse_foreign_form(request, typed)
    with ctx.database.writing() as session:
        endpoints.remove_endpoint(session, endpoint_id)
    return back_to("/hooks", done="deleted")


@router.post("/hooks/events/{event_id}/resend")
def resend_event(ctx: Context, request: Request, event_id: str, typed: Typed) -> Response:
    """Send an event again."""
    refuse_foreign_form(request, typed)
    with ctx.database.writing() as session:
        endpoints.resend(session, event_id, ctx.clock.now())
    return back_to("/hooks", done="resent")


PAGE = PageEntry(
    router,
    under="/notices",
    templates=("notices/hooks.html",),
    needs=(Need("/hooks(/.*)?", "manage", "manage"),),
)
