"""Page routes of the order forms.

What do the bench's forms do: book a pair in, take a step, file a paper, keep a photograph?

Each is a plain form post that ends in a redirect. What is wrong stands beside the field with all
that was typed. What someone else did meanwhile is told, and what was typed is shown, not lost.
"""

from __future__ import annotations

from urllib.parse import quote

from fastapi import APIRouter, Request, Response

from solespan.api.errors import Conflict, NotFound, Refused, SolespanError, StaleVersion
from solespan.api.routes.bench.order_pages import bench_answer, job_answer, paper_answer
from solespan.api.routes.http.page_entry import PageEntry
from solespan.api.routes.http.pages import (
    PageRoute,
    Typed,
    back_to,
    refuse_foreign_form,
)
from solespan.api.routes.http.pages import told as shown
from solespan.api.routes.http.picture_form import PictureForm, chosen_picture
from solespan.api.routes.http.requests import Context
from solespan.api.schemas.edition import ChangedMeanwhile
from solespan.api.schemas.forms import FormProblem
from solespan.api.services.bench import orders
from solespan.api.services.bench.booking.free_days import DayNotFree
from solespan.api.services.bench.found_orders import describe
from solespan.api.services.bench.order_forms import REASON, read_booking, read_move
from solespan.api.services.bench.paper_forms import PAPER_READERS
from solespan.api.services.bench.papers import file_paper
from solespan.api.services.bench.photographs import keep_photograph, remove_photograph
from solespan.api.services.context import AppContext
from solespan.api.services.rack.history import current_revision_id
from solespan.dashboards.pages.bench.bench import STAGE_WORDS
from solespan.dashboards.pages.bench.job_steps import unsaved
from solespan.dashboards.pages.rack.pair import FormState

__all__ = ["PAGE", "PHOTO_PATH"]

router = APIRouter(route_class=PageRoute)
PHOTO_PATH = "/bench-photographs"
# The field of the form that a refusal of the service is about.
_FIELDS = {"new_sole": "material"} | {
    name: name for name in ("worker", "on", "bench_minutes", "note", "sent_to", "back_on")
}


def _of(order_id: str) -> str:
    return f"/bench/{quote(order_id, safe='')}"


@router.post("/bench")
def book_pair(ctx: Context, request: Request, typed: Typed) -> Response:
    """Book a pair in."""
    refuse_foreign_form(request, typed)
    try:
        with ctx.database.writing() as session:
            asked = read_booking(session, typed)
            order_id = orders.book(session, asked, ctx.clock)["order_id"]
    except FormProblem as problem:
        return bench_answer(ctx, request, form=FormState(typed, problem.errors))
    except DayNotFree as full:
        errors = {
            full.where: f"{full.what} {full.remedy}",
            "overrule": "Give the reason, or choose another day.",
        }
        return bench_answer(ctx, request, form=FormState(typed, errors))
    except SolespanError as error:
        again = _booked_already(ctx, typed, error)
        if again is not None:
            return again
        errors = {error.where if error.where in typed else "": shown(error)}
        return bench_answer(ctx, request, form=FormState(typed, errors))
    return back_to(_of(order_id), done="booked")


def _booked_already(
    ctx: AppContext, typed: dict[str, str], error: SolespanError
) -> Response | None:
    """Lead to the order that this very form made when it was sent before."""
    if not isinstance(error, Conflict) or error.where != "order_id":
        return None
    with ctx.database.reading() as session:
        order = describe(session, typed.get("order_id", ""))
    return back_to(_of(order["order_id"]), done="booked")


@router.post("/bench/{order_id}/moves")
def take_step(ctx: Context, request: Request, order_id: str, typed: Typed) -> Response:
    """Take an order to its next stage; forecasts follow in the same transaction."""
    refuse_foreign_form(request, typed)
    to = typed.get("to", "")
    try:
        move = read_move(typed)
        with ctx.database.writing() as session:
            order = orders.step(session, order_id, move, ctx.clock)
            ctx.forecaster.update_owner(session, order["pair_id"])
            undo = current_revision_id()
    except FormProblem as problem:
        forms = {to: FormState(typed, problem.errors)}
        return job_answer(ctx, request, order_id, {}, forms=forms, status=422)
    except NotFound:
        raise
    except Conflict as conflict:
        told = _overtaken(ctx, order_id) if isinstance(conflict, StaleVersion) else ""
        more = {
            "problem": told or shown(conflict),
            "unsaved": unsaved(typed, REASON),
        }
        return job_answer(ctx, request, order_id, more, status=409)
    except Refused as refused:
        errors = {_FIELDS.get(refused.where, ""): f"{refused.what} {refused.remedy}".strip()}
        forms = {to: FormState(typed, errors)}
        return job_answer(ctx, request, order_id, {}, forms=forms, status=422)
    return back_to(_of(order_id), done=to, undo=undo)


def _overtaken(ctx: AppContext, order_id: str) -> str:
    """Say who took which step meanwhile."""
    with ctx.database.reading() as session:
        order = describe(session, order_id)
    moves = [e for e in order["events"] if e["from_stage"] != e["to_stage"]]
    who = moves[-1]["worker"] or "Someone"
    return (
        f"{who} took this order to {STAGE_WORDS[order['stage']]} while this page was open; "
        "your step was not taken."
    )


@router.post("/bench/{order_id}/{kind}")
def file_a_paper(
    ctx: Context, request: Request, order_id: str, kind: str, typed: Typed
) -> Response:
    """File the condition report or the shoe's record; readings go into the log."""
    if kind not in PAPER_READERS:
        raise NotFound(f"There is no {kind!r} of an order.", remedy="Open the order again.")
    refuse_foreign_form(request, typed)
    try:
        paper = PAPER_READERS[kind](typed)
        with ctx.database.writing() as session:
            order = file_paper(session, order_id, kind, paper, ctx.clock, seen=typed)
            ctx.forecaster.update_owner(session, order["pair_id"])
    except FormProblem as problem:
        form = FormState(typed, problem.errors)
        return paper_answer(ctx, request, order_id, kind, form=form, status=422)
    except NotFound:
        raise
    except ChangedMeanwhile as meanwhile:
        return paper_answer(ctx, request, order_id, kind, meanwhile=meanwhile, status=409)
    except SolespanError as error:
        form, told = FormState(typed), shown(error)
        return paper_answer(
            ctx, request, order_id, kind, form=form, trouble=told, status=error.status
        )
    return back_to(_of(order_id), done=kind)


@router.post(PHOTO_PATH)
def add_photograph(ctx: Context, request: Request, given: PictureForm) -> Response:
    """Attach a photograph to an order."""
    typed, content = given
    order_id, caption = typed.get("order_id", ""), typed.get("caption", "").strip()
    try:
        with ctx.database.writing() as session:
            keep_photograph(session, order_id, chosen_picture(content), caption)
    except NotFound:
        raise
    except SolespanError as error:
        more = {"photo_problem": f"{error.what} {error.remedy}", "photo_caption": caption}
        return job_answer(ctx, request, order_id, more, status=error.status)
    return back_to(_of(order_id), done="photograph")


@router.post(PHOTO_PATH + "/{photo_id}/taken-away")
def take_photograph_away(ctx: Context, request: Request, photo_id: str, typed: Typed) -> Response:
    """Take a photograph away; the audit keeps that it was there."""
    refuse_foreign_form(request, typed)
    with ctx.database.writing() as session:
        order_id = remove_photograph(session, photo_id)
        undo = current_revision_id()
    return back_to(_of(order_id), done="taken-away", undo=undo)


PAGE = PageEntry(router, uploads=(PHOTO_PATH,))
