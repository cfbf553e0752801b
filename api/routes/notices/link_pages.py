"""Page routes of link.

What does a customer see and do behind the links of a notice, without signing in?

Opening a link changes nothing: programs that scan mail open every link. The address holds its own
secret, a stated exception. It serves one purpose, ends, and is not logged: requests are logged by
route. A page behind a link quotes and looks for free days, so one link opens so often a minute.
"""

from __future__ import annotations

from collections.abc import Callable, Coroutine, Mapping
from typing import Annotated, Any

from fastapi import APIRouter, Path, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import HTMLResponse, RedirectResponse
from fastapi.routing import APIRoute
from starlette.exceptions import HTTPException

from solespan.api.errors import Refused, SolespanError
from solespan.api.notices.languages import Language, language_of
from solespan.api.notices.links import form_token
from solespan.api.notices.words import CAUTIONS, THUMB_CHECK
from solespan.api.routes.http.form_token import is_token, mask_token
from solespan.api.routes.http.pace import WINDOW_S
from solespan.api.routes.http.page_entry import Need, PageEntry
from solespan.api.routes.http.pages import Typed, Words
from solespan.api.routes.http.requests import Context
from solespan.api.schemas.notices.notices import NoticeRules
from solespan.api.services.context import AppContext
from solespan.api.services.notices.answering import (
    Asked,
    LinkOver,
    answer,
    check_link,
    dates_now,
    days_now,
    open_link,
    open_order,
    still_written_to,
    unsubscribe,
    ways_now,
)
from solespan.api.services.notices.booking_links import change_path
from solespan.api.services.notices.choices import read_rules
from solespan.api.services.notices.delivery_config import secret_of
from solespan.dashboards.pages.bench.free_days import offered_words
from solespan.dashboards.pages.notices.outside import (
    answer_page,
    link_failure_page,
    said_problem,
    unsubscribe_page,
    way_choices,
)
from solespan.dashboards.pages.rack.pair import FormState
from solespan.dashboards.render import render

__all__ = ["PAGE", "LinkRoute", "Token", "outside_page", "refuse_foreign"]

ONE_CLICK = ("List-Unsubscribe", "One-Click")  # RFC 8058, section 3.1
FORM_TOKEN = "form_token"  # noqa: S105 - the name of a field


class LinkTooOften(SolespanError):
    """A link that was opened too often in this minute; `shop` is whose it is."""

    code = "too-fast"
    title = "This link was opened too often"
    shop: AppContext | None = None


def _refuse_too_often(request: Request) -> None:
    """Raise `LinkTooOften`, `LinkUnknown`, `LinkOver`; an unknown link costs only its reading."""
    token = request.path_params["token"]
    if not request.app.state.link_pace.too_fast(hash(token)):
        return
    refused = LinkTooOften(
        "This link was opened very often just now.",
        where="how often",
        remedy="Please wait a minute, then open it again.",
    )
    refused.shop, _ = check_link(request.app.state.services, token)
    raise refused


class LinkRoute(APIRoute):
    """A route whose failures are pages that lead nowhere into the shop."""

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        """Wrap the handler so that an error of ours becomes such a page with its status."""
        handler = super().get_route_handler()

        async def page_or_failure(request: Request) -> Response:
            try:
                if request.method == "GET":
                    _refuse_too_often(request)
                return await handler(request)
            except SolespanError as error:
                shop = error.shop if isinstance(error, LinkOver | LinkTooOften) else None
                language = shop_language(shop)
                said = [said_problem(error.what, error.remedy, error.where, language)]
                page = link_failure_page(error.title, said, language) | {"language": language}
                answer = outside_page(page, error.status, shop)
                if isinstance(error, LinkTooOften):
                    answer.headers["retry-after"] = str(WINDOW_S)
                return answer
            except RequestValidationError:
                return outside_page(link_failure_page("This link cannot be read", []), 404)
            except HTTPException as error:
                said = [str(error.detail)]
                return outside_page(
                    link_failure_page("This cannot be done", said), error.status_code
                )

        return page_or_failure


def shop_language(shop: AppContext | None, spoken: str | None = None) -> Language:
    """Return the language of a shop's customer; English where no shop is known."""
    if shop is None:
        return language_of(spoken)
    with shop.database.reading() as session:
        return language_of(spoken, read_rules(session)[0].language)


router = APIRouter(route_class=LinkRoute)
Token = Annotated[str, Path(max_length=200, pattern=r"^[A-Za-z0-9_-]+$")]


def outside_page(
    context: Mapping[str, Any],
    status: int = 200,
    shop: AppContext | None = None,
    *,
    template: str = "notices/notice_answer.html",
) -> HTMLResponse:
    """Answer a page that leads nowhere into the shop."""
    rules = NoticeRules()
    if shop is not None:
        with shop.database.reading() as session:
            rules, _ = read_rules(session)
    common = {
        "shop_name": rules.shop_name,
        "contact": rules.shop_contact.splitlines(),
        "cautions": CAUTIONS,
        "thumb_check": THUMB_CHECK,
        "token": "",
        "today": "",
        "form": FormState(),
        "ways": [],
        "days": [],
        "no_hours": "",
        "done_within": "",
        "change": "",
    }
    page = render(template, {**common, **context})
    return HTMLResponse(page, status, {"cache-control": "no-store"})


@router.get("/answers/{token}")
def read_answer_page(ctx: Context, token: Token, done: Words = "") -> HTMLResponse:
    """Show what a link is for; nothing is changed."""
    return _answer_page(ctx, token, open_link(ctx, token), done=done == "yes")


@router.post("/answers/{token}")
def give_answer(ctx: Context, token: Token, typed: Typed) -> Response:
    """Do what the form says, or show it again with what is wrong."""
    asked = open_link(ctx, token)
    try:
        refuse_foreign(ctx, token, typed)
        answer(asked, typed)
    except SolespanError as error:
        return _answer_page(ctx, token, asked, typed=typed, error=error)
    return RedirectResponse(f"/answers/{token}?done=yes", 303)


@router.get("/unsubscribe/{token}")
def read_unsubscribe_page(ctx: Context, token: Token, done: Words = "") -> HTMLResponse:
    """Show the button that ends it; nothing is changed."""
    form = {"token": mask_token(form_token(token, secret_of(ctx)))}
    shop, agrees, spoken = still_written_to(ctx, token)
    language = shop_language(shop, spoken)
    page = unsubscribe_page(done=done == "yes" and not agrees, language=language)
    return outside_page(page | form | {"language": language}, shop=shop)


@router.post("/unsubscribe/{token}")
def stop_hearing(ctx: Context, token: Token, typed: Typed) -> Response:
    """End every consent: from the page's button, or in one click of a mail program (RFC 8058)."""
    name, value = ONE_CLICK
    one_click = typed.get(name) == value
    if not one_click:
        refuse_foreign(ctx, token, typed)
    unsubscribe(ctx, token, "one click in the mail" if one_click else "on the page")
    if one_click:
        return Response(status_code=200)
    return RedirectResponse(f"/unsubscribe/{token}?done=yes", 303)


def _answer_page(
    ctx: AppContext,
    token: str,
    asked: Asked,
    *,
    done: bool = False,
    typed: Mapping[str, str] | None = None,
    error: SolespanError | None = None,
) -> HTMLResponse:
    with asked.ctx.database.reading() as session:
        language = language_of(asked.notice["language"], read_rules(session)[0].language)
        order = open_order(session, asked.pair["pair_id"], asked.notice["decided_at"].date())
        dates = dates_now(session, asked) if done else None
        asks = asked.link.purpose == "book" and order is None
        quoted = ways_now(session, asked) if asks else None
        offered = days_now(session, asked) if asks else None
        change = change_path(asked.ctx, session, order) if order is not None else ""
    told = asked.notice["payload"]["pairs"][asked.link.place]
    answered = asked.pair["answer"]
    context = answer_page(
        asked.link.purpose,
        told,
        answered=answered,
        done=done and bool(answered),
        order=order,
        dates=dates,
        language=language,
    ) | {
        "ways": way_choices(quoted, language),
        **offered_words(offered, language),
        "change": change if asked.link.purpose == "book" else "",
        "language": language,
    }
    errors = {}
    if error is not None:
        fields = {"day": "day", "left, right": "left", "works": "works"}
        field = fields.get(error.where, "")
        said = said_problem(error.what, error.remedy, error.where, language)
        errors = {field: said} if field else {}
        context["problem"] = "" if field else said
    context |= {
        "form": FormState(dict(typed or {}), errors),
        "token": mask_token(form_token(token, secret_of(ctx))),
        "today": asked.today.isoformat(),
    }
    return outside_page(context, error.status if error else 200, asked.ctx)


def refuse_foreign(ctx: AppContext, token: str, typed: Mapping[str, str]) -> None:
    """Refuse a form that is not of the token's own page."""
    if not is_token(typed.get(FORM_TOKEN, ""), form_token(token, secret_of(ctx))):
        raise Refused(
            "This form did not come from the page of the link.",
            where="form_token",
            remedy="Open the link again and press the button there.",
        )


PAGE = PageEntry(
    router,
    # the address holds the secret
    needs=(Need("/answers/.*|/unsubscribe/.*", "open", "open"),),
)
