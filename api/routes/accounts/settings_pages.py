"""Page routes of settings: what can a shop set, and how is one section of it changed?

The forms follow from the register of settings. A form that somebody else overtook is shown again
with what changed, and with all that was typed.
"""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Request, Response
from fastapi.responses import HTMLResponse

from solespan.api.errors import SolespanError
from solespan.api.routes.http.page_entry import PageEntry
from solespan.api.routes.http.pages import (
    PageRoute,
    Words,
    back_to,
    page_answer,
    refuse_foreign_form,
    shows_shop,
    told,
)
from solespan.api.routes.http.requests import Context
from solespan.api.schemas.edition import ChangedMeanwhile, edition_of
from solespan.api.schemas.forms import FormProblem, cut
from solespan.api.schemas.model_form import FormPart, form_parts, typed_value
from solespan.api.services.context import AppContext
from solespan.api.services.notices.delivery_config import webhook_key
from solespan.api.services.operation.settings.checklist import MAIL_STEP, first_run, send_test_mail
from solespan.api.services.operation.settings.register import GROUPS, PLACES, SECTIONS, Section
from solespan.api.services.operation.settings.sections import (
    change_section,
    fields_of,
    find_section,
    machine_defaults,
    section_values,
    set_groups,
)
from solespan.api.services.rack.history import last_change
from solespan.dashboards.meanwhile import changes_told
from solespan.dashboards.navigation import NavEntry
from solespan.dashboards.pages.accounts.settings import settings_home
from solespan.dashboards.pages.rack.pair import FormState

__all__ = ["PAGE"]

router = APIRouter(route_class=PageRoute)
ADDRESS = "/settings"
MOST_FIELDS = 2500  # 400 closures, 50 benches and 20 machines with all their ticks


async def _fields(request: Request) -> dict[str, str]:
    form = await request.form(max_files=0, max_fields=MOST_FIELDS)
    return {name: cut(name, text) for name, text in form.items() if isinstance(text, str)}


Fields = Annotated[dict[str, str], Depends(_fields)]


@router.get(ADDRESS)
def read_home(ctx: Context, request: Request, q: Words = "", done: Words = "") -> HTMLResponse:
    """List the sections of settings, those that hold the words searched for, and what is left."""
    said = "The mail server took the test mail. Look at your mailbox." if done else ""
    return _home(ctx, request, q, done=said)


@router.post(f"{ADDRESS}/test-mail")
def post_test_mail(ctx: Context, request: Request, typed: Fields) -> Response:
    """Send a test mail to the shop itself."""
    address = typed.get("address", "").strip()
    try:
        refuse_foreign_form(request, typed)
        send_test_mail(ctx, address)
    except SolespanError as error:
        return _home(ctx, request, "", mail_to=address, mail_problem=told(error))
    return back_to(ADDRESS, done="sent")


def _home(
    ctx: AppContext,
    request: Request,
    search: str,
    *,
    done: str = "",
    mail_to: str = "",
    mail_problem: str = "",
) -> HTMLResponse:
    with ctx.database.reading() as session:
        known = set_groups(session)
        steps = first_run(ctx, session) if shows_shop(request) and not search else []
    sections = []
    for section in SECTIONS:
        fields = () if section.page else fields_of(section)
        parts = form_parts(type(GROUPS[section.group].default()), {}, fields) if fields else []
        own = known.get(section.group, {})
        sections.append(
            {
                "title": section.title,
                "lead": section.lead,
                "address": section.address,
                "labels": [(part.label, part.help, part.name) for part in parts],
                "own": sum(name in own for name in fields),
                "count": len(fields),
            }
        )
    context = settings_home(sections, PLACES, search)
    context |= {
        "steps": steps,
        "mail_step": any(step["name"] == MAIL_STEP for step in steps),
        "mail_to": mail_to,
        "mail_problem": mail_problem,
        "done": done,
    }
    return page_answer(request, "accounts/settings.html", context, 422 if mail_problem else 200)


@router.get(f"{ADDRESS}/{{name}}")
def read_section(ctx: Context, request: Request, name: str, done: Words = "") -> HTMLResponse:
    """Show one section as a form, each value with its default and where that is from."""
    section = find_section(name)
    return _page(ctx, request, section, done="The settings are saved." if done else "")


@router.post(f"{ADDRESS}/{{name}}")
def post_section(ctx: Context, request: Request, name: str, typed: Fields) -> Response:
    """Keep what was typed; an empty field takes its default."""
    section = find_section(name)
    try:
        refuse_foreign_form(request, typed)
        with ctx.database.about(section=name).writing() as session:
            change_section(session, section, typed)
    except FormProblem as problem:
        return _page(ctx, request, section, FormState(typed, problem.errors))
    except ChangedMeanwhile as meanwhile:
        return _page(ctx, request, section, FormState(meanwhile.values), meanwhile=meanwhile)
    except SolespanError as error:
        return _page(ctx, request, section, FormState(typed, {"": told(error)}))
    ctx.refitter.wake()
    return back_to(section.address, done="kept")


def _page(
    ctx: AppContext,
    request: Request,
    section: Section,
    form: FormState | None = None,
    *,
    done: str = "",
    meanwhile: ChangedMeanwhile | None = None,
) -> HTMLResponse:
    with ctx.database.reading() as session:
        values = section_values(session, section)
        changed = last_change(session, "shop_settings", {"name": section.group})
    shown = form or FormState(values)
    model = type(GROUPS[section.group].default())
    machine = machine_defaults(ctx.settings, section.group)
    usual = {name: typed_value(model, name, value) for name, value in machine.items()}
    usual |= dict(section.usual)
    parts = form_parts(model, shown.values, fields_of(section), words=section.words, defaults=usual)
    context = {
        "section": section,
        "form": shown,
        "parts": parts,
        "edition": shown.values.get("edition") or edition_of(values),
        "done": done,
        "opened": {p.name for p in parts for name in shown.errors if name.startswith(p.name)},
        "changed": changed,
        "meanwhile": changes_told(meanwhile.changes, changed, _labels(parts))
        if meanwhile
        else None,
        "webhook_key": webhook_key(ctx) if section.name == "notices" else "",
    }
    status = 409 if meanwhile else 422 if form else 200
    return page_answer(request, "accounts/settings_section.html", context, status)


def _labels(parts: list[FormPart]) -> dict[str, str]:
    """Name every field of a form as its page does."""
    return {
        leaf.name: part.label
        if part.alone
        else f"{part.label} {row}: {leaf.label}".replace(" :", ":")
        for part in parts
        for _, row, leaves in part.rows
        for leaf in leaves
    }


PAGE = PageEntry(
    router,
    NavEntry("Settings", ADDRESS, "settings", rare=True),
    templates=("accounts/settings.html", "accounts/settings_section.html"),
)
