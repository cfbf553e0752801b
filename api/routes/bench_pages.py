"""Which pages of the bench does a browser get: orders, one job, its card and packing list?"""

from __future__ import annotations

from typing import Annotated, Any
from urllib.parse import quote

import pandas as pd
import segno
from fastapi import APIRouter, Query, Request, Response
from fastapi.responses import HTMLResponse
from markupsafe import Markup

from api.routes.http import Serving
from api.routes.pages import PageRoute
from api.services.bench_found import describe
from api.services.quotes import shop_minutes
from api.services.workload import YearAhead, year_ahead
from api.storage.bench import list_orders
from api.storage.bench_tables import OPEN_STAGES
from api.storage.records import find_record, list_records
from api.wiring import Services
from dashboards.figures import FIGURES
from dashboards.pages.bench import bench_page, job_page
from dashboards.pages.workload import workload_page
from dashboards.render import figure_json, render
from forecast.workload import summarise

__all__ = ["router"]

router = APIRouter()
pages = APIRouter(route_class=PageRoute)
MOST_ORDERS = 500
Months = Annotated[int, Query(ge=1, le=36)]


@pages.get("/bench")
def read_bench(serving: Serving) -> HTMLResponse:
    """Show the open orders by stage."""
    with serving.database.reading() as session:
        orders = [
            order
            for stage in OPEN_STAGES
            for order in list_orders(
                session, stage=stage, pair_id=None, below_id=None, limit=MOST_ORDERS
            )
        ]
        labels = {
            pair_id: str(
                (find_record(session, "pairs", {"pair_id": pair_id}) or {}).get("label") or ""
            )
            for pair_id in {order["pair_id"] for order in orders}
        }
    return HTMLResponse(render("bench.html", bench_page(orders, labels)))


@pages.get("/bench/{order_id}")
def read_job(serving: Serving, order_id: str) -> HTMLResponse:
    """Show one job."""
    return HTMLResponse(render("job.html", _job(serving, order_id)))


@pages.get("/bench/{order_id}/card")
def read_card(serving: Serving, request: Request, order_id: str) -> HTMLResponse:
    """Show the job card, made to be printed."""
    context = _job(serving, order_id) | {"code": _code(request, order_id)}
    return HTMLResponse(render("job_card.html", context))


@pages.get("/bench/{order_id}/packing-list")
def read_packing_list(serving: Serving, request: Request, order_id: str) -> HTMLResponse:
    """Show the packing list of a parcel, made to be printed."""
    context = _job(serving, order_id) | {"code": _code(request, order_id)}
    return HTMLResponse(render("packing_list.html", context))


@pages.get("/workload")
def read_work_ahead(serving: Serving, months: Months = 12) -> HTMLResponse:
    """Show the work to come."""
    ahead = year_ahead(serving.database, serving.clock.today(), months)
    habits = ahead.books.habits
    context = workload_page(
        _periods(ahead),
        summarise(ahead.simulated, ahead.by_day, "total"),
        months=months,
        currency=ahead.books.settings.currency,
        leans_on=f"A due pair is taken to be booked in with a chance of {habits.come:.0%}, learnt "
        f"from {habits.n_outcomes} due pairs.",
    )
    return HTMLResponse(render("workload.html", context))


# Before the pages' own route of that shape, which knows the rack's figures only.
@router.get("/figures/workload.json")
def read_workload_figure(serving: Serving, months: Months = 12) -> Response:
    """Draw the bench hours to come, as JSON that the page's script draws."""
    ahead = year_ahead(serving.database, serving.clock.today(), months)
    entry = FIGURES["workload"]
    drawn = entry.draw(_periods(ahead), today=ahead.books.as_of)
    return Response(figure_json(drawn), media_type="application/json")


def _periods(ahead: YearAhead) -> pd.DataFrame:
    """Months, with the hours the bench is open in each."""
    periods = summarise(ahead.simulated, ahead.by_day, "month")
    days = ahead.simulated.days
    hours = ahead.books.settings.bench_hours()
    minutes = hours.minutes_by_day(days[0], len(days)) * hours.benches
    of_month = pd.Series(minutes / 60, index=days).groupby(days.to_period("M").to_timestamp()).sum()
    return periods.assign(open_hours=periods["begins_on"].map(of_month.to_dict()))


def _job(serving: Services, order_id: str) -> dict[str, Any]:
    with serving.database.reading() as session:
        order = describe(session, order_id)
        pair = find_record(session, "pairs", {"pair_id": order["pair_id"]}) or {}
        owners = list_records(session, "wearers", equal={"wearer_id": pair["wearer_id"]}, limit=1)
        span = shop_minutes(session).interval(order["work"], pair["construction"])
    owner = owners[0]["name"] or owners[0]["wearer_id"]
    return job_page(order, pair, owner, span)


def _code(request: Request, order_id: str) -> Markup:
    """Draw a QR code (ISO/IEC 18004) of the job's address as an SVG that needs no style."""
    address = f"{request.base_url}bench/{quote(order_id, safe='')}"
    drawn = segno.make(address, error="m", micro=False)
    # the drawing is segno's own text; the address is in it only as squares
    return Markup(drawn.svg_inline(omitsize=True, border=2))  # noqa: S704


router.include_router(pages)
