"""Page routes of order.

Which pages of the bench does a browser get: the day, one job, its papers' forms, its prints?
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from urllib.parse import quote
from uuid import uuid4

import segno
from fastapi import APIRouter, Request, Response
from fastapi.responses import HTMLResponse
from markupsafe import Markup

from solespan.api.errors import NotFound
from solespan.api.routes.http.page_entry import PageEntry
from solespan.api.routes.http.pages import PageRoute, Words, page_answer
from solespan.api.routes.http.requests import Context
from solespan.api.schemas.edition import EDITION, ChangedMeanwhile, edition_of
from solespan.api.services.bench.bench_plan import promises_in
from solespan.api.services.bench.bench_settings import bench_minutes
from solespan.api.services.bench.booking.free_days import (
    FreeDaysAsked,
    booking_calendar,
    shop_today,
)
from solespan.api.services.bench.found_orders import describe
from solespan.api.services.bench.order_forms import warranty_form
from solespan.api.services.bench.orders import count_open, open_orders
from solespan.api.services.bench.paper_forms import PAPER_READERS, typed_of
from solespan.api.services.bench.papers import PAPER_STAGES, pair_measures_out
from solespan.api.services.bench.photographs import MOST_PHOTOGRAPHS, find_photo
from solespan.api.services.bench.steps import STEPS
from solespan.api.services.context import AppContext
from solespan.api.services.rack.records import find_record, list_records
from solespan.dashboards.meanwhile import changes_told
from solespan.dashboards.navigation import NavEntry
from solespan.dashboards.pages.bench.bench import bench_page
from solespan.dashboards.pages.bench.free_days import free_days_words
from solespan.dashboards.pages.bench.job import PAPER_WORDS, job_page
from solespan.dashboards.pages.bench.job_papers import paper_page
from solespan.dashboards.pages.bench.job_steps import job_steps
from solespan.dashboards.pages.rack.pair import FormState
from solespan.dashboards.render import render
from solespan.forecast.bench.visits import works_of
from solespan.forecast.frames import WORKS
from solespan.forecast.workload.mix import SOLE_WORKS

__all__ = ["PAGE", "bench_answer", "job_answer", "paper_answer"]

router = APIRouter(route_class=PageRoute)
MOST_ORDERS = 500
FREE_DAYS_SHOWN = 4
MOST_OFFERED = 300  # pairs in the list that the booking form offers; with more the id is typed
DONE = {
    "booked": "The pair is booked in.",
    "in_post": "It is in the post.",
    "received": "The pair is received.",
    "on_bench": "It is on the bench.",
    "checked": "It is checked. The forecast goes on from the new readings.",
    "posted_back": "It is posted back.",
    "returned": "It is back with its owner.",
    "cancelled": "The order is cancelled.",
    "missed": "Noted: it did not come.",
    "sent_on": "It is sent on. It takes no bench hours until it is back.",
    "refused": "The work is refused. The customer's page tells the reason.",
    "condition": "The condition report is filed.",
    "before": "The record before stripping is filed.",
    "after": "The finished pair's measures are filed.",
    "agreed": "The customer agrees: the order has these works and this price now.",
    "photograph": "The photograph is added.",
    "taken-away": "The photograph is taken away.",
}


@router.get("/bench")
def read_bench(ctx: Context, request: Request, done: Words = "", redo: Words = "") -> HTMLResponse:
    """Show what comes today, what is late, every open order by stage, and the booking form.

    `redo` fills the form in from an order that is redone under warranty.
    """
    filled = {}
    if redo:
        with ctx.database.reading() as session:
            filled = warranty_form(describe(session, redo))
    return bench_answer(ctx, request, filled=filled, done=DONE.get(done, ""))


def bench_answer(
    ctx: AppContext,
    request: Request,
    *,
    form: FormState | None = None,
    filled: Mapping[str, str] | None = None,
    done: str = "",
) -> HTMLResponse:
    """Answer the bench's page, with what was typed into the booking form."""
    with ctx.database.reading() as session:
        orders = open_orders(session, MOST_ORDERS)
        total = count_open(session)
        pairs = list_records(session, "pairs", equal={}, limit=MOST_OFFERED + 1)
        promises = promises_in(session)
        today = shop_today(session, ctx.clock)
        calendar = booking_calendar(session, today)
        currency = calendar.settings.currency
    offered = pairs if len(pairs) <= MOST_OFFERED else []
    context = bench_page(
        orders,
        total=total,
        today=today,
        planned=promises.orders,
        back_on=promises.back_on(today),
    ) | {
        "form": form or FormState(dict(filled or {})),
        "done": done,
        "currency": currency,
        "new_order_id": uuid4().hex,
        "free": free_days_words(
            calendar.free_days(FreeDaysAsked((WORKS[0],)), today, FREE_DAYS_SHOWN),
            today,
            work=WORKS[0],
            hours_set=calendar.hours_set,
            turnaround_days=calendar.settings.turnaround_days,
        ),
        "pair_options": [(p["pair_id"], p["label"] or p["pair_id"]) for p in offered],
    }
    return page_answer(request, "bench/bench.html", context, 422 if form else 200)


@router.get("/bench/{order_id}")
def read_job(ctx: Context, request: Request, order_id: str, done: Words = "") -> HTMLResponse:
    """Show one job: what happens next, its papers, its photographs and its audit."""
    return job_answer(ctx, request, order_id, {"done": DONE.get(done, "")})


def job_answer(
    ctx: AppContext,
    request: Request,
    order_id: str,
    more: dict[str, Any],
    *,
    forms: dict[str, FormState] | None = None,
    status: int = 200,
) -> HTMLResponse:
    """Answer a job's page; `more` says what was done or went wrong, `forms` what was typed."""
    said = {"done": "", "problem": "", "unsaved": [], "photo_problem": "", "photo_caption": ""}
    context = _job(ctx, order_id)
    order = context["order"]
    with ctx.database.reading() as session:
        out = (
            pair_measures_out(session, order["papers"])
            if order["stage"] in PAPER_STAGES["after"]
            else []
        )
        soles = list_records(
            session, "soles", equal={"pair_id": order["pair_id"], "removed_on": None}, limit=1
        )
    steps = job_steps(
        order,
        STEPS[order["stage"]],
        of_sole=order["work"] in SOLE_WORKS,
        material=soles[0]["material"] if soles else "",
        out=out,
        forms=forms or {},
    )
    papers = [
        {
            "kind": kind,
            "words": words,
            "filed": kind in order["papers"],
            "open": order["stage"] in PAPER_STAGES[kind],
        }
        for kind, words in PAPER_WORDS.items()
    ]
    page = context | said | more | steps | {"papers": papers, "most_photos": MOST_PHOTOGRAPHS}
    page["today_iso"] = ctx.clock.today().isoformat()
    return page_answer(request, "bench/job.html", page, status)


@router.get("/bench/{order_id}/card")
def read_card(ctx: Context, request: Request, order_id: str) -> HTMLResponse:
    """Show the job card, made to be printed."""
    context = _job(ctx, order_id) | {"code": _code(request, order_id)}
    return HTMLResponse(render("bench/job_card.html", context))


@router.get("/bench/{order_id}/packing-list")
def read_packing_list(ctx: Context, request: Request, order_id: str) -> HTMLResponse:
    """Show the packing list of a parcel, made to be printed."""
    context = _job(ctx, order_id) | {"code": _code(request, order_id)}
    return HTMLResponse(render("bench/packing_list.html", context))


@router.get("/bench/{order_id}/{kind}")
def read_paper(ctx: Context, request: Request, order_id: str, kind: str) -> HTMLResponse:
    """Show the form of a paper, with what is filed already."""
    if kind not in PAPER_READERS:
        raise NotFound(
            f"There is no {kind!r} of an order.",
            where="the address",
            accepted=", ".join(PAPER_READERS),
            remedy="Open the order and choose one of its papers.",
        )
    return paper_answer(ctx, request, order_id, kind)


def paper_answer(
    ctx: AppContext,
    request: Request,
    order_id: str,
    kind: str,
    *,
    form: FormState | None = None,
    meanwhile: ChangedMeanwhile | None = None,
    trouble: str = "",
    status: int = 200,
) -> HTMLResponse:
    """Answer the form of a paper, with what was typed or what is filed.

    After `meanwhile` it shows what somebody else filed, and keeps what was typed.
    """
    with ctx.database.reading() as session:
        order = describe(session, order_id)
        pair = find_record(session, "pairs", {"pair_id": order["pair_id"]}) or {}
    filed = typed_of(kind, order["papers"].get(kind))
    shown = form or FormState(meanwhile.values if meanwhile else filed)
    name = pair.get("label") or order["pair_id"]
    context = paper_page(kind, shown, order=order, pair=name, trouble=trouble)
    context["edition"] = shown.values.get(EDITION) or edition_of(filed)
    if meanwhile:
        last = [event for event in order["events"] if event["details"].get("paper") == kind][-1]
        who = {"actor": last["worker"], "at": datetime.fromisoformat(last["at"])}
        context["meanwhile"] = changes_told(meanwhile.changes, who, {})
    return page_answer(request, "bench/job_paper.html", context, status)


@router.get("/bench-photographs/{photo_id}")
def read_photograph(ctx: Context, photo_id: str) -> Response:
    """Send a photograph; its name says its content, so a browser may keep it."""
    with ctx.database.reading() as session:
        found = find_photo(session, photo_id)
    if found is None:
        raise NotFound("There is no such photograph.", where="the address")
    headers = {"cache-control": "private, max-age=31536000, immutable"}
    return Response(found[1], media_type=found[0], headers=headers)


def _job(ctx: AppContext, order_id: str) -> dict[str, Any]:
    with ctx.database.reading() as session:
        order = describe(session, order_id)
        pair = find_record(session, "pairs", {"pair_id": order["pair_id"]}) or {}
        owners = list_records(session, "wearers", equal={"wearer_id": pair["wearer_id"]}, limit=1)
        on = {"pair_id": order["pair_id"], "removed_on": None}
        soles = list_records(session, "soles", equal=on, limit=1)
        works = works_of(order["work"], order["more_works"])
        low, _, high = bench_minutes(session).visit(works, pair["construction"])
    return job_page(order, pair, owners[0], (low, high), soles[0] if soles else None)


def _code(request: Request, order_id: str) -> Markup:
    """Draw a QR code (ISO/IEC 18004) of the job's address as an SVG that needs no style."""
    address = f"{request.base_url}bench/{quote(order_id, safe='')}"
    drawn = segno.make(address, error="m", micro=False)
    # the drawing is segno's own text; the address is in it only as squares
    return Markup(drawn.svg_inline(omitsize=True, border=2))  # noqa: S704


PAGE = PageEntry(
    router,
    NavEntry("Bench", "/bench", "shop", first=True),
    templates=("bench/bench.html", "bench/job.html", "bench/job_paper.html"),
)
