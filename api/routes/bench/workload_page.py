"""Page routes of the workload.

Which page of the work ahead does a browser get, and what is it without a forecast?
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
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
from solespan.api.services.bench.asking import asked_body
from solespan.api.services.bench.bench_plan import make_plan, newest_plan
from solespan.api.services.bench.bench_settings import read_bench_settings
from solespan.api.services.bench.workload import year_ahead
from solespan.api.services.bench.year_report import year_report
from solespan.api.services.context import AppContext
from solespan.dashboards.figures import FIGURES
from solespan.dashboards.navigation import NavEntry
from solespan.dashboards.pages.bench.bench_choices import (
    bench_count,
    bench_options,
    choice_rows,
    choice_words,
    over_words,
)
from solespan.dashboards.pages.bench.workload import (
    asked_next,
    come_sentence,
    leather_page,
    plan_page,
    price_words,
    to_order,
    workload_page,
)
from solespan.dashboards.pages.bench.year_plan import year_plan_page
from solespan.dashboards.pages.bench.year_words import looks_table, looks_words, year_words
from solespan.dashboards.render import figure_json, render
from solespan.forecast.bench.hours import BenchHours
from solespan.forecast.bench.standards import STANDARDS
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
    ctx: Context, request: Request, months: Months = 12, benches: Words = "", done: Words = ""
) -> HTMLResponse:
    """Show the work to come, another bench, the bench's plan, and what to order."""
    more = {"done": DONE.get(done, "")}
    if not benches:
        return _answer(ctx, request, months, more)
    try:
        asked = read_column(_TRIED[0], {"benches": benches})
    except FormProblem as problem:
        more["problem"] = f"benches: {problem.errors['benches']}."
        return _answer(ctx, request, months, more, 422)
    return _answer(ctx, request, months, more, benches=asked)


def _answer(
    ctx: AppContext,
    request: Request,
    months: int,
    more: dict[str, Any],
    status: int = 200,
    benches: int | None = None,
) -> HTMLResponse:
    said = {"done": "", "problem": "", "typed": {}} | more
    today = ctx.clock.today()
    try:
        report = year_report(ctx.database, today, months=months, benches=benches)
    except NothingForecast:
        return page_answer(request, "bench/workload_none.html", said, status)
    ahead, body = report.ahead, report.body
    habits, settings = ahead.books.habits, ahead.books.settings
    currency = settings.currency
    of_weeks = summarise(ahead.simulated, ahead.by_day, "week")
    of_months = summarise(ahead.simulated, ahead.by_day, "month")
    context = workload_page(
        of_weeks,
        of_months,
        summarise(ahead.simulated, ahead.by_day, "total"),
        months=months,
        currency=currency,
        leans_on=come_sentence(habits.come, habits.n_outcomes),
    )
    context |= {
        "year": year_words(body["year"]),
        "looks_words": looks_words(body["past_years"]),
        "looks": looks_table(body["past_years"]),
        "over": over_words(body["weeks_over"]),
        "benches": bench_count(settings.benches),
        "closed_with_less": settings.benches == 1,
        "options": bench_options(settings.benches),
        "chosen": benches,
        "choice_words": choice_words(body["benches"]),
        "choice_names": [bench_count(choice["benches"]) for choice in body["benches"]],
        "choice_rows": choice_rows(body["benches"]),
        "leather": leather_page(body["leather"], currency, bool(settings.leather_cost_minor)),
        "prices": price_words(
            dict(settings.price_minor), {w: s.price_minor for w, s in STANDARDS.items()}
        ),
    }
    with ctx.database.reading() as session:
        plan = newest_plan(session)
        payload = None if plan is None else plan["payload"]
    asked = [] if payload is None else asked_next(_asked(ctx), payload, today)
    context |= {
        "plan": None if payload is None else plan_page(payload, currency),
        "asked": asked,
        "charts": _charts(
            ahead.books.as_of,
            workload=_with_room(of_weeks),
            revenue=of_months.assign(currency=currency),
            leather=_dated(body["leather"], currency=currency),
            bench_weeks=_dated([] if payload is None else payload["weeks"]),
        ),
        "orders": to_order(stock_advice.advice(ctx.database, today), today),
    }
    return page_answer(request, "bench/workload.html", context | said, status)


def _asked(ctx: AppContext) -> list[dict[str, Any]]:
    return list(asked_body(ctx.database, ctx.clock)["items"])


@pages.get("/workload/year-plan")
def read_year_plan(ctx: Context, request: Request) -> HTMLResponse:
    """Show the year on one sheet, made to be printed."""
    today = ctx.clock.today()
    try:
        report = year_report(ctx.database, today, months=PLANNED_MONTHS, by="week")
    except NothingForecast:
        said = {"done": "", "problem": "", "typed": {}}
        return page_answer(request, "bench/workload_none.html", said)
    ahead = report.ahead
    asked = [row["ask_on"] for row in _asked(ctx)]
    closures = [closure.model_dump(mode="json") for closure in ahead.books.settings.closures]
    uses = {name: use for name, use in ahead.by_day.items() if name.startswith("use_")}
    quarters = summarise(ahead.simulated, uses, "quarter")
    sheet = year_plan_page(report.body, quarters, asked, closures, today)
    sheet["over"] = over_words(report.body["weeks_over"])
    return HTMLResponse(render("bench/year_plan.html", sheet))


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
    """Draw the bench hours of the weeks to come, as JSON that the page's script draws."""
    ahead = year_ahead(ctx.database, ctx.clock.today(), months)
    weeks = summarise(ahead.simulated, ahead.by_day, "week")
    return _drawn("workload", _with_room(weeks), ahead.books.as_of)


@router.get("/figures/revenue.json")
def read_revenue_figure(ctx: Context, months: Months = 12) -> Response:
    """Draw the revenue of the months to come, as JSON that the page's script draws."""
    ahead = year_ahead(ctx.database, ctx.clock.today(), months)
    of_months = summarise(ahead.simulated, ahead.by_day, "month")
    currency = ahead.books.settings.currency
    return _drawn("revenue", of_months.assign(currency=currency), ahead.books.as_of)


@router.get("/figures/leather.json")
def read_leather_figure(ctx: Context, months: Months = 12) -> Response:
    """Draw the money in leather, as JSON that the page's script draws."""
    report = year_report(ctx.database, ctx.clock.today(), months=months)
    currency = report.ahead.books.settings.currency
    weeks = _dated(report.body["leather"], currency=currency)
    return _drawn("leather", weeks, report.ahead.books.as_of)


@router.get("/figures/bench_weeks.json")
def read_weeks_figure(ctx: Context) -> Response:
    """Draw the weeks of the newest plan, as JSON that the page's script draws."""
    with ctx.database.reading() as session:
        plan = newest_plan(session)
    weeks = _dated([] if plan is None else plan["payload"]["weeks"])
    return _drawn("bench_weeks", weeks, pd.Timestamp(ctx.clock.today()))


def _with_room(weeks: pd.DataFrame) -> pd.DataFrame:
    """Put the hours that the bench is open beside each week's rows."""
    room = weeks[weeks["measure"] == "open_hours"].set_index("begins_on")["mean"]
    return weeks.assign(open_hours=weeks["begins_on"].map(room.to_dict()))


def _dated(rows: Sequence[Mapping[str, Any]], **more: Any) -> pd.DataFrame:
    weeks = pd.DataFrame(list(rows))
    return (
        weeks.assign(begins_on=pd.to_datetime(weeks["begins_on"]), **more) if len(rows) else weeks
    )


def _charts(today: pd.Timestamp, **frames: pd.DataFrame) -> dict[str, Any]:
    """Describe the figures that the page draws at once."""
    return {name: FIGURES[name].draw(frame, today=today) for name, frame in frames.items()}


def _drawn(name: str, frame: pd.DataFrame, today: pd.Timestamp) -> Response:
    drawn = FIGURES[name].draw(frame, today=today)
    return Response(figure_json(drawn), media_type="application/json")


router.include_router(pages)


PAGE = PageEntry(
    router,
    NavEntry("Work ahead", "/workload", "shop"),
    templates=("bench/workload.html", "bench/workload_none.html", "bench/year_plan.html"),
)
