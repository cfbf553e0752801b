"""Page routes of reception: how does the desk take a pair in, and which ticket is printed?

The first form asks for a name or a number. The second one offers the customers found, asks for the
pair and its work, and makes the ticket. Sent twice, it leads to the same ticket.
"""

from __future__ import annotations

from typing import Annotated, Any
from uuid import uuid4

from fastapi import APIRouter, Depends, Request, Response
from fastapi.responses import HTMLResponse
from sqlalchemy.orm import Session

from solespan.api.errors import Conflict, SolespanError
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
from solespan.api.routes.http.picture_form import read_picture
from solespan.api.routes.http.requests import Context
from solespan.api.routes.http.square_code import square_code
from solespan.api.schemas.forms import FormProblem
from solespan.api.services.bench.booking.free_days import (
    DayNotFree,
    FreeDaysAsked,
    booking_calendar,
    shop_today,
)
from solespan.api.services.bench.desk.customer_search import search_customers
from solespan.api.services.bench.desk.reception import USUAL_WORK, take_in
from solespan.api.services.bench.desk.reception_form import (
    NEW,
    known_choice,
    likely_choice,
    read_reception,
)
from solespan.api.services.bench.found_orders import describe
from solespan.api.services.bench.photographs import keep_photograph
from solespan.api.services.context import AppContext
from solespan.api.services.notices.choices import read_rules
from solespan.api.services.rack.records import find_record, list_records
from solespan.dashboards.navigation import NavEntry
from solespan.dashboards.pages.bench.desk import reception_choices, ticket_page, work_options
from solespan.dashboards.pages.bench.free_days import NO_HOURS
from solespan.dashboards.pages.rack.pair import FormState
from solespan.dashboards.render import render
from solespan.forecast.dates.day_words import short_day

__all__ = ["PAGE"]

router = APIRouter(route_class=PageRoute)
PATH = "/reception"
MOST_FIELDS = 20


async def _form(request: Request) -> tuple[dict[str, str], bytes]:
    return await read_picture(request, MOST_FIELDS)


WithPicture = Annotated[tuple[dict[str, str], bytes], Depends(_form)]


@router.get(PATH)
def read_reception_page(
    ctx: Context, request: Request, wearer: Words = "", pair: Words = "", order: Words = ""
) -> Response:
    """Ask who comes in; with a known customer or pair, ask what is to be done."""
    if wearer or pair:
        with ctx.database.reading() as session:
            chosen = known_choice(session, wearer, pair)
        return _second(ctx, request, FormState({"choice": chosen["value"]}), [chosen["option"]])
    made = None
    if order:
        with ctx.database.reading() as session:
            made = _ticket(session, order)
    return page_answer(request, "bench/reception.html", {"made": made, "who": ""})


@router.post("/reception/who")
def find_who(ctx: Context, request: Request, typed: Typed) -> Response:
    """Show the customers that are meant, and the form of the pair."""
    refuse_foreign_form(request, typed)
    return _second(ctx, request, FormState({"who": typed.get("who", "").strip()}))


@router.post(PATH)
def post_reception(ctx: Context, request: Request, given: WithPicture) -> Response:
    """Take the pair in, or show the form again with what is wrong."""
    typed, content = given
    again = typed | ({"picture": "lost"} if content else {})  # no browser fills a file in again
    try:
        with ctx.database.writing() as session:
            asked = read_reception(typed)
            made = take_in(ctx, session, asked)
            if content:
                keep_photograph(session, made["order_id"], content, "At reception")
    except FormProblem as problem:
        return _second(ctx, request, FormState(again, problem.errors), status=422)
    except DayNotFree as full:
        errors = {
            full.where: f"{full.what} {full.remedy}",
            "overrule": "Give the reason, or choose another day.",
        }
        return _second(ctx, request, FormState(again, errors), status=422)
    except SolespanError as error:
        if isinstance(error, Conflict) and error.where == "order_id":
            return back_to(PATH, order=typed.get("order_id", ""))
        errors = {error.where if error.where in typed else "": told(error)}
        return _second(ctx, request, FormState(again, errors), status=error.status)
    return back_to(PATH, order=made["order_id"])


@router.get("/bench/{order_id}/ticket")
def read_ticket(ctx: Context, request: Request, order_id: str) -> HTMLResponse:
    """Show the ticket, made to be printed: one part for the shoes, one for the customer."""
    with ctx.database.reading() as session:
        context = _ticket(session, order_id)
    code = square_code(f"{request.base_url}bench/{order_id}")
    return HTMLResponse(render("bench/ticket.html", context | {"code": code}))


def _ticket(session: Session, order_id: str) -> dict[str, Any]:
    order = describe(session, order_id)
    pair = find_record(session, "pairs", {"pair_id": order["pair_id"]}) or {}
    owners = list_records(session, "wearers", equal={"wearer_id": pair["wearer_id"]}, limit=1)
    rules = read_rules(session)[0]
    shop = {"name": rules.shop_name, "contact": rules.shop_contact}
    return ticket_page(order, pair, owners[0], shop)


def _second(
    ctx: AppContext,
    request: Request,
    form: FormState,
    options: list[tuple[str, str, str]] | None = None,
    *,
    status: int = 200,
) -> Response:
    """Answer the form of the pair; the customers that match what was typed stand first."""
    who = form.values.get("who", "")
    with ctx.database.reading() as session:
        today = shop_today(session, ctx.clock)
        calendar = booking_calendar(session, today)
        free = calendar.first_promise(FreeDaysAsked((USUAL_WORK,)))
        if options is None and not who and form.values.get("choice", NEW) != NEW:
            kind, _, known = form.values["choice"].partition(" ")
            options = [known_choice(session, **{kind: known})["option"]]
    likely = form.values.get("choice", options[0][0] if options else NEW)
    if options is None:
        found = search_customers(ctx, who).customers if who else []
        likely = form.values.get("choice", likely_choice(who, found))
        options = reception_choices(found, today)
    context = {
        "form": form,
        "who": who,
        "options": options,
        "likely": likely,
        "new": NEW,
        "works": work_options(),
        "new_order_id": uuid4().hex,
        "today_iso": today.isoformat(),
        "free": "" if free is None else short_day(free, today),
        "no_hours": "" if calendar.hours_set else NO_HOURS,
    }
    return page_answer(request, "bench/reception_pair.html", context, status)


PAGE = PageEntry(
    router,
    NavEntry("Book in", PATH, "shop", first=True),
    templates=("bench/reception.html", "bench/reception_pair.html"),
    uploads=(PATH,),
)
