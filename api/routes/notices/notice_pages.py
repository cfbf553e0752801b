"""Page routes of notice.

Which pages of notices does a shop get: the preview, sending, history, letters, who agreed?
"""

from __future__ import annotations

from datetime import date
from typing import Any

from fastapi import APIRouter, Request, Response
from fastapi.responses import HTMLResponse

from solespan.api.channels import CHANNELS
from solespan.api.errors import Refused, SolespanError
from solespan.api.notices.letter_words import code_words, letter_words
from solespan.api.routes.http.page_entry import Need, PageEntry
from solespan.api.routes.http.pages import (
    PageRoute,
    Typed,
    Words,
    back_to,
    page_answer,
    refuse_foreign_form,
)
from solespan.api.routes.http.requests import Context
from solespan.api.routes.http.square_code import square_code
from solespan.api.routes.notices.channel_words import channel_words
from solespan.api.schemas.forms import FormProblem
from solespan.api.schemas.notices.consents import BounceGiven, ConsentGiven, ConsentWithdrawn
from solespan.api.services.context import AppContext
from solespan.api.services.notices import consents
from solespan.api.services.notices.choices import read_rules
from solespan.api.services.notices.consents import lift_stop
from solespan.api.services.notices.deciding import run, sample
from solespan.api.services.notices.delivery_config import problems_of
from solespan.api.services.notices.page import (
    customers_with_consents,
    history,
    one_notice,
    preview_values,
)
from solespan.api.services.notices.reading import letters, mark_printed, retry
from solespan.api.services.notices.template_failure import stuck_words
from solespan.dashboards.navigation import NavEntry
from solespan.dashboards.pages.notices.notices import consent_rows, history_rows, notices_page

__all__ = ["PAGE"]

router = APIRouter(route_class=PageRoute)
DONE = {
    "sent": "The notices are on their way.",
    "retry": "It will be tried again.",
    "rules": "The rules are kept.",
    "wording": "The wording is kept.",
    "consent": "That is written down.",
    "printed": "The letters are off the list.",
    "in_use": "Noted: the pair is still in use.",
    "ended": "The pair is retired; nobody is written to about it.",
}
MOST_LETTERS = 200


@router.get("/notices")
def read_notices(ctx: Context, request: Request, why: Words = "", done: Words = "") -> HTMLResponse:
    """Show who would get a notice now, who not and why, and what became of the others."""
    values, seen = preview_values(ctx, why)
    context = notices_page(**values, channels=channel_words())
    with ctx.database.reading() as session:
        past = history_rows(history(session), channel_words())
        failures = history_rows(history(session, "failed"), channel_words())
        stuck = stuck_words(session)
    sends = "Notices go out by themselves." if seen.rules.automatic else _BY_HAND
    context |= {
        "problems": problems_of(ctx, seen.rules),
        "past": [row for row in past if not row["failed"]],
        "failures": failures,
        "automatic": stuck or sends,
        "stuck": stuck is not None,
        "done": DONE.get(done, ""),
    }
    return page_answer(request, "notices/notices.html", context)


_BY_HAND = "Nothing is sent by itself. Press Send. The rules can change that."


@router.get("/notices/send")
def ask_to_send(ctx: Context, request: Request, customer: Words = "") -> HTMLResponse:
    """Show what sending would do, in the words of one customer's notice, and ask."""
    return _send_page(ctx, request, customer=customer)


@router.post("/notices/send")
def send_notices(ctx: Context, request: Request, typed: Typed) -> Response:
    """Write the notices that are due to the outbox, if they are as many as was shown."""
    try:
        refuse_foreign_form(request, typed)
        context = notices_page(**preview_values(ctx)[0], channels=channel_words())
        if typed.get("sure") != "true":
            raise Refused("Nothing was sent: the box was not ticked.", remedy="Tick it to send.")
        if typed.get("customers") != str(len(context["to_write"]) + context["more"]):
            raise Refused(
                "Nothing was sent: meanwhile the customers who are due are others.",
                remedy="Look at the number again, and send if it is right.",
            )
        run(ctx)
    except SolespanError as error:
        return _send_page(ctx, request, problem=f"{error.what} {error.remedy}")
    return back_to("/notices", done="sent")


def _send_page(
    ctx: AppContext, request: Request, *, customer: str = "", problem: str = ""
) -> HTMLResponse:
    values, seen = preview_values(ctx)
    context = notices_page(**values, channels=channel_words())
    missing = problems_of(ctx, seen.rules)
    context |= {
        "customers": len(context["to_write"]) + context["more"],
        "any": context["any"] and not missing,
        "problem": problem or " ".join(missing),
        "sample": sample(ctx, seen, customer) if context["any"] and not missing else None,
    }
    return page_answer(request, "notices/notice_send.html", context, 422 if problem else 200)


@router.get("/notices/customers")
def read_customers(
    ctx: Context, request: Request, after: Words = "", done: Words = ""
) -> HTMLResponse:
    """Show who agreed to be written to."""
    return _customers_page(ctx, request, after, done=DONE.get(done, ""))


@router.post("/notices/customers")
def change_consent(ctx: Context, request: Request, typed: Typed) -> Response:
    """Write down a consent or its withdrawal, or that an address takes no mail, or does again."""
    try:
        refuse_foreign_form(request, typed)
        _change_consent(ctx, typed)
    except (SolespanError, FormProblem) as error:
        said = f"{error.what} {error.remedy}" if isinstance(error, SolespanError) else _SAY_HOW
        return _customers_page(ctx, request, "", problem=said)
    return back_to("/notices/customers", done="consent")


_SAY_HOW = (
    "Say how the consent was given, and who took it; the day, if any, as YYYY-MM-DD. "
    "An address is of its kind: a postal one has up to 500 characters, a telephone number begins "
    "with its country's code."
)


def _change_consent(ctx: AppContext, typed: dict[str, str]) -> None:
    wearer_id, channel = typed.get("wearer", ""), typed.get("channel", "")
    with ctx.database.writing() as session:
        if typed.get("do") in ("lift", "bounced"):
            address = consents.address_of(session, wearer_id, channel)
            if typed["do"] == "lift":
                lift_stop(session, address)
                return
            try:
                given_back = BounceGiven(address=address, channel=channel)
            except ValueError:
                raise Refused("There is no address to stop.", remedy="Look again.") from None
            consents.report_bounce(session, given_back, ctx.clock)
            return
        try:
            if typed.get("do") == "withdraw":
                ended = ConsentWithdrawn(wearer_id=wearer_id, channel=channel)
                consents.withdraw(session, ended, ctx.clock)
                return
            how, by = typed.get("how", ""), typed.get("by", "")
            written = typed.get("address") or typed.get(f"address_{channel}", "")
            given = ConsentGiven(
                wearer_id=wearer_id,
                channel=channel,
                how=how,
                by=by,
                on=date.fromisoformat(typed["on"]) if typed.get("on") else None,
                address=written.replace("\r\n", "\n").strip() or None,
            )
        except ValueError:
            raise FormProblem({}) from None
        consents.give(session, given, ctx.clock)


def _customers_page(
    ctx: AppContext, request: Request, after: str, *, done: str = "", problem: str = ""
) -> HTMLResponse:
    with ctx.database.reading() as session:
        customers, following = customers_with_consents(session, after or None)
    context: dict[str, Any] = {"customers": consent_rows(customers, channel_words())}
    context |= {"next": following}
    context |= {"done": done, "problem": problem}
    return page_answer(request, "notices/notice_customers.html", context, 422 if problem else 200)


@router.get("/notices/letters")
def read_letters(ctx: Context, request: Request) -> HTMLResponse:
    """Show the letters that wait to be printed, one page each."""
    with ctx.database.reading() as session:
        rows = letters(session, MOST_LETTERS)
        rules, _ = read_rules(session)
    shown = [
        {
            "id": row["id"],
            "name": row["name"],
            "address": (row["address"] or "").splitlines(),
            "subject": row["payload"]["subject"],
            "text": row["payload"]["text"],
            **letter_words(row["payload"], row["made_at"].date(), rules.language),
            "codes": _codes(row["payload"], rules.language),
        }
        for row in rows
    ]
    context = {"letters": shown, "shop_name": rules.shop_name}
    context |= {"contact": rules.shop_contact.splitlines()}
    return page_answer(request, "notices/notice_letters.html", context)


def _codes(payload: dict[str, Any], language: str) -> list[dict[str, Any]]:
    """Draw what a letter's reader can scan: two answers about each pair, and the way out."""
    asked = code_words(payload, language)
    return [{"what": what, "drawn": square_code(address)} for what, address in asked]


@router.post("/notices/letters")
def letters_printed(ctx: Context, request: Request, typed: Typed) -> Response:
    """Take letters off the print list."""
    refuse_foreign_form(request, typed)
    with ctx.database.writing() as session:
        mark_printed(session, _number(typed.get("up_to", "")), ctx.clock.now())
    return back_to("/notices", done="printed")


def _number(text: str) -> int:
    return int(text) if text.isascii() and text.isdigit() and len(text) < 19 else 0


@router.get("/notices/{notice_id}")
def read_notice_page(ctx: Context, request: Request, notice_id: str) -> HTMLResponse:
    """Show one notice."""
    with ctx.database.reading() as session:
        context = one_notice(session, notice_id)
    entry = CHANNELS.get(context["row"]["channel"])
    context |= {
        "row": history_rows([context["row"]], channel_words())[0],
        "parts": entry.parts if entry else (),
    }
    return page_answer(request, "notices/notice.html", context)


@router.post("/notices/{notice_id}/retry")
def try_again(ctx: Context, request: Request, notice_id: str, typed: Typed) -> Response:
    """Let a notice that failed be tried again."""
    refuse_foreign_form(request, typed)
    with ctx.database.writing() as session:
        retry(ctx, session, notice_id)
    return back_to("/notices", done="retry")


PAGE = PageEntry(
    router,
    NavEntry("Notices", "/notices", "shop"),
    templates=(
        "notices/notices.html",
        "notices/notice.html",
        "notices/notice_send.html",
        "notices/notice_customers.html",
    ),
    needs=(Need("/notices(/.*)?", "read", "notices"),),
)
