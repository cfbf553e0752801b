"""Page routes of devices: how does a phone of the household come in, and who lets it go again?

The secret of a code stands in the address that its square shows. Opening the address changes
nothing: a button sends the form that uses the code up.
"""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter, Path, Request, Response

from solespan.api.errors import SolespanError
from solespan.api.routes.accounts.sign_in_pages import outside
from solespan.api.routes.http.page_entry import Need, PageEntry
from solespan.api.routes.http.pages import (
    PageRoute,
    Typed,
    Words,
    back_to,
    over_tls,
    page_answer,
    refuse_foreign_form,
    told,
)
from solespan.api.routes.http.requests import Context
from solespan.api.routes.http.square_code import square_code
from solespan.api.services.accounts import home_devices
from solespan.api.services.accounts.attempts import DEVICE_KEPT
from solespan.api.services.accounts.sessions import device_in_words
from solespan.api.services.context import AppContext
from solespan.dashboards.navigation import NavEntry
from solespan.dashboards.pages.accounts.devices import device_list

__all__ = ["PAGE"]

router = APIRouter(route_class=PageRoute)
ADDRESS = "/devices"
Secret = Annotated[str, Path(max_length=100)]
DONE = {
    "rename": "The name is kept.",
    "remove": "That device is let in no more.",
}


@router.get(ADDRESS)
def read_devices(ctx: Context, request: Request, done: Words = "") -> Response:
    """Show the household's devices, and how another one comes in."""
    return _page(ctx, request, done=DONE.get(done, ""))


@router.post(ADDRESS + "/code")
def make_code(ctx: Context, request: Request, typed: Typed) -> Response:
    """Make a code for one device; its square is on the answer and never again."""
    refuse_foreign_form(request, typed)
    if request.app.state.home is None:
        return _page(ctx, request, status=409)
    with ctx.database.writing() as session:
        code = home_devices.make_code(session, ctx.clock.now())
    answer = _page(ctx, request, link=f"{request.app.state.home.address}/connect/{code}")
    answer.headers["cache-control"] = "no-store"
    return answer


@router.post(ADDRESS + "/{what}")
def change_device(
    ctx: Context, request: Request, what: Literal["rename", "remove"], typed: Typed
) -> Response:
    """Give a device another name, or let it in no more."""
    refuse_foreign_form(request, typed)
    device_id, name = typed.get("device_id", ""), typed.get("name", "").strip()
    if what == "rename" and not 0 < len(name) <= home_devices.LONGEST_NAME:
        said = f"Not saved. A name has 1 to {home_devices.LONGEST_NAME} letters."
        return _page(ctx, request, problem=said, status=422)
    with ctx.database.about(device_id=device_id[:200]).writing() as session:
        if what == "rename":
            home_devices.rename(session, device_id, name)
        else:
            home_devices.remove(session, device_id)
    return back_to(ADDRESS, done=what)


@router.get("/connect/{secret}")
def read_code(ctx: Context, request: Request, secret: Secret) -> Response:  # noqa: ARG001
    """Show the button behind which a device comes in."""
    return _connect_page(ctx, request)


@router.post("/connect/{secret}")
def connect_device(ctx: Context, request: Request, secret: Secret, typed: Typed) -> Response:
    """Let the device in that shows a good code."""
    name = home_devices.home_cookie_name(ctx.settings)
    try:
        refuse_foreign_form(request, typed)
        key = home_devices.connect(
            ctx.database,
            code=secret if request.app.state.home is not None else "",
            name=typed.get("name", "").strip()[: home_devices.LONGEST_NAME] or _words(request),
            address=request.client.host if request.client else "",
            old_key=request.cookies.get(name, ""),
            now=ctx.clock.now(),
        )
    except SolespanError as error:
        return _connect_page(ctx, request, problem=told(error), status=error.status)
    answer = back_to("/", said="connected")
    answer.set_cookie(
        name,
        key,
        max_age=round(DEVICE_KEPT.total_seconds()),
        path="/",
        secure=over_tls(request),
        httponly=True,
        samesite="lax",
    )
    return answer


def _words(request: Request) -> str:
    return device_in_words(request.headers.get("user-agent", "")[:500])


def _connect_page(
    ctx: AppContext, request: Request, *, problem: str = "", status: int = 200
) -> Response:
    home = request.app.state.home
    context = {
        "problem": problem,
        "name": _words(request),
        "longest": home_devices.LONGEST_NAME,
        "warning": "" if home is None or home.over_tls else home_devices.WITHOUT_CERTIFICATE,
    }
    return outside(ctx, request, "accounts/connect.html", context, status)


def _page(
    ctx: AppContext,
    request: Request,
    *,
    link: str = "",
    problem: str = "",
    done: str = "",
    status: int = 200,
) -> Response:
    home = request.app.state.home
    with ctx.database.reading() as session:
        devices = home_devices.devices_of(session)
    context = {
        "accounts": ctx.settings.accounts,
        "open": home is not None,
        "address": home.address if home else "",
        "warning": "" if home is None or home.over_tls else home_devices.WITHOUT_CERTIFICATE,
        "devices": device_list(devices, now=ctx.clock.now()),
        "minutes": home_devices.CODE_MINUTES,
        "longest": home_devices.LONGEST_NAME,
        "link": link,
        "code": square_code(link) if link else "",
        "problem": problem,
        "done": done,
    }
    return page_answer(request, "accounts/devices.html", context, status)


PAGE = PageEntry(
    router,
    NavEntry("Devices", ADDRESS, "rack", rare=True),
    templates=("accounts/devices.html",),
    needs=(
        Need("/connect/[^/]*", "open", "open"),
        Need("/devices(/.*)?", "manage", "manage"),
    ),
)
