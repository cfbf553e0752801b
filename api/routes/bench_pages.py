"""Which pages of the bench does a browser get: orders, one job, its card and packing list?"""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

import segno
from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse
from markupsafe import Markup

from api.routes.http import Serving
from api.routes.pages import PageRoute
from api.services.bench_orders import describe
from api.services.quotes import shop_minutes
from api.storage.bench import list_orders
from api.storage.bench_tables import OPEN_STAGES
from api.storage.records import find_record, list_records
from api.wiring import Services
from dashboards.pages.bench import bench_page, job_page
from dashboards.render import render

__all__ = ["router"]

router = APIRouter()
pages = APIRouter(route_class=PageRoute)
MOST_ORDERS = 500


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
