"""Page routes of the workload.

Which page of the work ahead does a browser get, and what is it without a forecast?
"""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, Any

import pandas as pd
from fastapi import APIRouter, Query, Request, Response
from fastapi.responses import HTMLResponse

from solespan.api.errors import NothingForecast, SolespanError
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
from solespan.api.schemas.forms import FormProblem, read_column
from solespan.api.services.bench import stock_advice
from solespan.api.services.bench.bench_plan import make_plan, newest_plan
from solespan.api.services.bench.bench_settings import read_bench_settings
from solespan.api.services.bench.workload import YearAhead, workload_body, year_ahead
from solespan.api.services.context import AppContext
from solespan.api.services.rack.records import find_record
from solespan.dashboards.figures import FIGURES
from solespan.dashboards.navigation import NavEntry
from solespan.dashboards.pages.bench.workload import (
    asked_next,
    come_sentence,
    plan_page,
    to_order,
    workload_page,
)
from solespan.dashboards.pages.bench.year_words import looks_table, looks_words, year_words
from solespan.dashboards.render import figure_json
from solespan.forecast.bench.hours import BenchHours
from solespan.forecast.frames import Column
from solespan.forecast.workload import summarise

__all__ = ["PAGE"]

router = APIRouter()
pages = APIRouter(route_class=PageRoute)
Months = Annotated[int, Query(ge=1, le=36)]
DONE = {"planned": "The year is planned; book-by dates follow with the next forecasts."}
PLANNED_MONTHS = 12
_TRIED = (
    Column("benches", "integer", "benches to try", low=1, high=50),
    Column("price_percent", "integer", "price to try", "%", low=10, high=1000),
    Column("demand_percent", "integer", "demand to try", "%", low=1, high=100),
)


@pages.get("/workload")
def read_work_ahead(
    ctx: Context, request: Request, months: Months = 12, done: Words = ""
) -> HTMLResponse:
    """Show the work to come, the bench's plan, and what to order."""
    return _answer(ctx, request, months, {"done": DONE.get(done, "")})


def _answer(
    ctx: AppContext, request: Request, months: int, more: dict[str, Any], status: int = 200
) -> HTMLResponse:
    said = {"done": "", "problem": "", "typed": {}} | more
    today = ctx.clock.today()
    try:
        ahead = year_ahead(ctx.database, today, months)
    except NothingForecast:
        return page_answer(request, "bench/workload_none.html", said, status)
    habits = ahead.books.habits
    currency = ahead.books.settings.currency
    body = workload_body(ahead, months, "month")
    context = workload_page(
        _periods(ahead),
        summarise(ahead.simulated, ahead.by_day, "total"),
        months=months,
        currency=currency,
        leans_on=come_sentence(habits.come, habits.n_outcomes),
    )
    context |= {
        "year": year_words(body["year"]),
        "looks_words": looks_words(body["past_years"]),
        "looks": looks_table(body["past_years"]),
    }
    with ctx.database.reading() as session:
        plan = newest_plan(session)
        payload = None if plan is None else plan["payload"]
        asked = [] if payload is None else asked_next(payload, today)
        for row in asked:
            pair = find_record(session, "pairs", {"pair_id": row["pair_id"]}) or {}
            row["pair"] = pair.get("label") or row["pair_id"]
    context |= {
        "plan": None if payload is None else plan_page(payload, currency),
        "asked": asked,
        "orders": to_order(stock_advice.advice(ctx.database, today), today),
    }
    return page_answer(request, "bench/workload.html", context | said, status)


@pages.post("/workload/plan")
def plan_the_year(ctx: Context, request: Request, typed: Typed) -> Response:
    """Simulate the bench's year with and without levelling, and keep the plan."""
    refuse_foreign_form(request, typed)
    try:
        asked = {column.name: read_column(column, typed) for column in _TRIED}
        with ctx.database.reading() as session:
            hours = read_bench_settings(session)[0].bench_hours()
        make_plan(
            ctx.database,
            ctx.clock.today(),
            months=PLANNED_MONTHS,
            tried=_tried(hours, asked),
            price_factor=(asked["price_percent"] or 100) / 100,
            demand_factor=(asked["demand_percent"] or 100) / 100,
        )
    except FormProblem as problem:
        said = (f"{name.replace('_', ' ')}: {why}." for name, why in problem.errors.items())
        return _answer(
            ctx, request, PLANNED_MONTHS, {"problem": " ".join(said), "typed": typed}, 422
        )
    except SolespanError as error:
        more = {"problem": told(error), "typed": typed}
        return _answer(ctx, request, PLANNED_MONTHS, more, error.status)
    return back_to("/workload", done="planned")


def _tried(hours: BenchHours, asked: dict[str, int | None]) -> BenchHours | None:
    """Return the other bench to try, or None where nothing was asked for."""
    if all(value is None for value in asked.values()):
        return None
    return replace(hours, benches=asked["benches"] or hours.benches)


@router.get("/figures/workload.json")
def read_workload_figure(ctx: Context, months: Months = 12) -> Response:
    """Draw the bench hours to come, as JSON that the page's script draws."""
    ahead = year_ahead(ctx.database, ctx.clock.today(), months)
    return _drawn("workload", _periods(ahead), ahead.books.as_of)


@router.get("/figures/bench_weeks.json")
def read_weeks_figure(ctx: Context) -> Response:
    """Draw the weeks of the newest plan, as JSON that the page's script draws."""
    with ctx.database.reading() as session:
        plan = newest_plan(session)
    weeks = pd.DataFrame([] if plan is None else plan["payload"]["weeks"])
    if len(weeks):
        weeks = weeks.assign(begins_on=pd.to_datetime(weeks["begins_on"]))
    return _drawn("bench_weeks", weeks, pd.Timestamp(ctx.clock.today()))


def _drawn(name: str, frame: pd.DataFrame, today: pd.Timestamp) -> Response:
    drawn = FIGURES[name].draw(frame, today=today)
    return Response(figure_json(drawn), media_type="application/json")


def _periods(ahead: YearAhead) -> pd.DataFrame:
    """Months, with the hours the bench is open in each."""
    periods = summarise(ahead.simulated, ahead.by_day, "month")
    days = ahead.simulated.days
    hours = ahead.books.settings.bench_hours()
    minutes = hours.minutes_by_day(days[0], len(days)) * hours.benches
    of_month = pd.Series(minutes / 60, index=days).groupby(days.to_period("M").to_timestamp()).sum()
    return periods.assign(open_hours=periods["begins_on"].map(of_month.to_dict()))


router.include_router(pages)


PAGE = PageEntry(
    router,
    NavEntry("Work ahead", "/workload", "shop"),
    templates=("bench/workload.html", "bench/workload_none.html"),
)
