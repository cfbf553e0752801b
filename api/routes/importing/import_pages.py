"""Page routes of import.

How are files of logs handed in with a browser, reported on, and taken or left?

Nothing changes before the reader has seen the report and said so.
"""

from __future__ import annotations

import io
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Depends, File, Form, Path, Request, Response, UploadFile

from solespan.api.errors import Refused, SolespanError
from solespan.api.routes.http.page_entry import PageEntry
from solespan.api.routes.http.pages import (
    MOST_CHARACTERS,
    TOKEN,
    PageRoute,
    Typed,
    Words,
    back_to,
    page_answer,
    read_cookie,
    refuse_foreign_form,
    told,
)
from solespan.api.routes.http.requests import Context
from solespan.api.services.context import AppContext
from solespan.api.services.importing.example_rack import (
    add_example,
    example_is_there,
    remove_example,
)
from solespan.api.services.importing.import_desk import (
    choose,
    forget,
    report_of,
    rest_of,
    rows_of,
    take,
    wait_for_decision,
)
from solespan.api.services.interchange.report import Finding, write_report
from solespan.api.services.rack.history import current_revision_id, list_changes
from solespan.dashboards.navigation import NavEntry
from solespan.dashboards.pages.importing.importing import import_page
from solespan.dashboards.pages.importing.sheets import (
    column_field,
    question_field,
    sheet_page,
    taken_page,
)
from solespan.dashboards.pages.rack.record import changes_page

__all__ = ["PAGE", "UPLOAD_PATH"]

UPLOAD_PATH = "/import"
router = APIRouter(route_class=PageRoute)
MOST_FILES = 12
MOST_IMPORTS = 20
MOST_CHOICES = 1200  # a select for each column of a wide sheet
DONE = {"left": "The files are thrown away; nothing was changed."}


@router.get("/import")
def read_import(ctx: Context, request: Request, done: Words = "") -> Response:
    """Show the form for files, and the example rack."""
    return _form(ctx, request, done=DONE.get(done, ""))


@router.post("/import")
def post_files(
    ctx: Context,
    request: Request,
    files: Annotated[list[UploadFile] | None, File(max_length=MOST_FILES)] = None,
    form_token: Annotated[str, Form(max_length=200)] = "",
) -> Response:
    """Read the files and show the report; the database is not changed."""
    try:
        refuse_foreign_form(request, {TOKEN: form_token})
        given = [(file.filename, file.file) for file in files or () if file.filename]
        if not given:
            raise Refused("No file was chosen.", remedy="Choose your table, or several files.")
        ticket = wait_for_decision(ctx, given, _browser(request))
    except SolespanError as error:
        return _form(ctx, request, problem=told(error))
    return back_to(f"/import/{quote(ticket, safe='')}")


async def _choices(request: Request) -> dict[str, str]:
    form = await request.form(max_files=0, max_fields=MOST_CHOICES)
    return {name: text[:MOST_CHARACTERS] for name, text in form.items() if isinstance(text, str)}


@router.get("/import/{ticket}")
def read_report(request: Request, ticket: str, done: Words = "") -> Response:
    """Show what the files hold and how sheets are read, row by row where something is wrong."""
    return _report(request, ticket, changed=done == "read")


@router.get("/import/{ticket}/rest-{number}.csv")
def read_rest(
    request: Request, ticket: str, number: Annotated[int, Path(ge=0, le=1000)]
) -> Response:
    """Send the rows of a sheet that were not taken, to be corrected."""
    return _file(*rest_of(ticket, _browser(request), number))


@router.get("/import/{ticket}/rows.csv")
def read_rows(request: Request, ticket: str) -> Response:
    """Send what becomes of every row of the sheets."""
    return _file("every row.csv", rows_of(ticket, _browser(request)))


def _file(name: str, content: bytes) -> Response:
    named = f"attachment; filename*=UTF-8''{quote(name, safe='')}"
    return Response(
        content,
        media_type="text/csv; charset=utf-8",
        headers={"content-disposition": named},
    )


@router.get("/import/{ticket}/report.csv")
def read_report_csv(request: Request, ticket: str) -> Response:
    """Send every finding as CSV."""
    report = report_of(ticket, _browser(request))
    stream = io.StringIO(newline="")
    write_report((Finding(**row) for row in report["rows"]), stream)
    return Response(
        stream.getvalue().encode("utf-8"),
        media_type="text/csv; charset=utf-8",
        headers={"content-disposition": 'attachment; filename="import-report.csv"'},
    )


@router.post("/import/{ticket}")
def post_decision(
    ctx: Context, request: Request, ticket: str, typed: Annotated[dict[str, str], Depends(_choices)]
) -> Response:
    """Take all rows, or the good ones, or leave them all; sheets may be read in another way.

    Rows that nobody saw are not taken: where the choices change the reading, it is shown again.
    """
    refuse_foreign_form(request, typed)
    browser = _browser(request)
    address = f"/import/{quote(ticket, safe='')}"
    if typed.get("decision") == "leave":
        forget(ticket, browser)
        return back_to("/import", done="left")
    try:
        read_again = choose(ctx, ticket, browser, _answers(report_of(ticket, browser), typed))
    except Refused as error:
        return _report(request, ticket, problem=told(error))
    if read_again:
        return back_to(address, done="read")
    if typed.get("decision") in ("all", "good"):
        take(ctx, ticket, browser, keep_good_rows=typed["decision"] == "good")
    return back_to(address)


@router.post("/example")
def post_example(ctx: Context, request: Request, typed: Typed) -> Response:
    """Add the example rack, or remove it."""
    refuse_foreign_form(request, typed)
    if typed.get("decision") == "remove":
        with ctx.database.writing() as session:
            remove_example(ctx, session)
            undo = current_revision_id()
        return back_to("/", done="no-example", undo=undo)
    add_example(ctx)
    return back_to("/", done="example")


def _answers(report: dict[str, Any], typed: dict[str, str]) -> dict[str, str]:
    """Return the choices of the form by the keys of the questions and columns."""
    reading = report["reading"]
    if reading is None:
        return {}
    fields = {question_field(n): one["key"] for n, one in enumerate(reading["questions"])}
    fields |= {column_field(n): one["key"] for n, one in enumerate(reading["columns"])}
    return {key: typed[field] for field, key in fields.items() if field in typed}


def _report(request: Request, ticket: str, *, changed: bool = False, problem: str = "") -> Response:
    report = report_of(ticket, _browser(request))
    more = {"ticket": ticket, "changed": changed, "problem": problem}
    if report["reading"] is None:
        name, context = "import_report", import_page(report)
    elif report["written"]:
        name, context = "import_taken", taken_page(report)
    else:
        name, context = "import_sheets", sheet_page(report)
    return page_answer(request, f"importing/{name}.html", context | more, 422 if problem else 200)


def _browser(request: Request) -> str:
    return read_cookie(request, TOKEN)


def _form(ctx: AppContext, request: Request, *, done: str = "", problem: str = "") -> Response:
    with ctx.database.reading() as session:
        there = example_is_there(session)
        past = list_changes(session, below_id=None, limit=MOST_IMPORTS, only="imports")
    context: dict[str, Any] = {"done": done, "problem": problem, "example": there}
    context["imports"] = changes_page(past)
    return page_answer(request, "importing/import.html", context, 422 if problem else 200)


PAGE = PageEntry(
    router,
    NavEntry("Import", "/import", rare=True),
    templates=(
        "importing/import.html",
        "importing/import_report.html",
        "importing/import_sheets.html",
        "importing/import_taken.html",
    ),
    uploads=(UPLOAD_PATH,),
)
