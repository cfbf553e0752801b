"""Page of a shop's forecast settings: risk, and the thresholds of the bands."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response
from fastapi.responses import HTMLResponse

from solespan.api.errors import SolespanError
from solespan.api.routes.http.page_entry import PageEntry
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
from solespan.api.schemas.forecasts.choices import ForecastChoices
from solespan.api.schemas.forms import FormProblem, read_form, share, text_of
from solespan.api.schemas.shop import ShopChoices
from solespan.api.services.context import AppContext
from solespan.api.services.forecasts.shop_settings import (
    change_forecast_choices,
    read_forecast_choices,
)
from solespan.api.services.shop_choices import (
    change_shop_choices,
    read_shop_choices,
)
from solespan.dashboards.navigation import NavEntry
from solespan.dashboards.pages.rack.pair import FormState

__all__ = ["PAGE"]

router = APIRouter(route_class=PageRoute)
ADDRESS = "/forecast-settings"
CHANCES = ("risk", "sound_chance", "stop_chance")
DAYS = ("sound_days", "book_in_days")
_SAYS = dict.fromkeys(CHANCES, "give a number over 0 and under 100")
_DONE = {
    "kept": "The settings are kept; forecasts follow in a moment.",
    "zone": "The time zone is kept. New customers inherit it.",
}


@router.get(ADDRESS)
def read_settings(ctx: Context, request: Request, done: Words = "") -> HTMLResponse:
    """Show the settings as a form, chances in per cent."""
    return _page(ctx, request, done=_DONE.get(done, ""))


@router.post(ADDRESS)
def change_settings(ctx: Context, request: Request, typed: Typed) -> Response:
    """Keep what was typed; an empty field takes its default."""
    try:
        refuse_foreign_form(request, typed)
        chances = {name: share(text_of(typed, name)) for name in CHANCES if text_of(typed, name)}
        choices = read_form(ForecastChoices, typed, more=chances, says=_SAYS)
        version = text_of(typed, "version")
        known = frozenset({int(version)}) if version.isdecimal() and len(version) < 10 else None
        with ctx.database.writing() as session:
            change_forecast_choices(session, choices, known)
    except FormProblem as problem:
        return _page(ctx, request, FormState(typed, problem.errors))
    except SolespanError as error:
        return _page(ctx, request, FormState(typed, {"": told(error)}))
    ctx.refitter.wake()
    return back_to(ADDRESS, done="kept")


@router.post(f"{ADDRESS}/shop")
def change_shop(ctx: Context, request: Request, typed: Typed) -> Response:
    """Keep the time zone that new customers inherit; an empty field is UTC."""
    says = {"time_zone": "give an IANA name, such as Europe/Vienna"}
    try:
        refuse_foreign_form(request, typed)
        choices = read_form(ShopChoices, typed, says=says)
        with ctx.database.writing() as session:
            change_shop_choices(session, choices, None)
    except FormProblem as problem:
        return _page(ctx, request, zone=FormState(typed, problem.errors))
    except SolespanError as error:
        return _page(ctx, request, zone=FormState(typed, {"": told(error)}))
    return back_to(ADDRESS, done="zone")


def _page(
    ctx: AppContext,
    request: Request,
    form: FormState | None = None,
    *,
    zone: FormState | None = None,
    done: str = "",
) -> HTMLResponse:
    with ctx.database.reading() as session:
        version = read_forecast_choices(session)[1]
        now = ctx.forecaster.settings_on(session)
        shop = read_shop_choices(session)[0]
    values = {name: f"{100 * getattr(now, name):g}" for name in CHANCES}
    values |= {name: str(getattr(now, name)) for name in DAYS}
    context = {"form": form or FormState(values), "version": version, "done": done}
    context |= {"zone": zone or FormState({"time_zone": shop.time_zone or ""})}
    status = 422 if form or zone else 200
    return page_answer(request, "forecasts/settings.html", context, status)


PAGE = PageEntry(
    router,
    NavEntry("Forecast settings", ADDRESS, "settings", rare=True),
    templates=("forecasts/settings.html",),
)
