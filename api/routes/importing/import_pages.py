"""Page routes of import.

How are files of logs handed in with a browser, reported on, and taken or left?

Nothing changes before the reader has seen the report and said so.
"""

from __future__ import annotations

import io
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, File, Form, Request, Response, UploadFile

from solespan.api.errors import Refused, SolespanError
from solespan.api.routes.http.page_entry import PageEntry
from solespan.api.routes.http.pages import (
    TOKEN,
    PageRoute,
    Typed,
    Words,
    back_to,
    page_answer,
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
from solespan.api.services.importing.import_desk import forget, report_of, take, wait_for_decision
from solespan.api.services.importing.report import Finding, write_report
from solespan.api.services.rack.history import current_revision_id, list_changes
from solespan.dashboards.navigation import NavEntry
from solespan.dashboards.pages.importing.importing import import_page
from solespan.dashboards.pages.rack.record import changes_page

__all__ = ["PAGE", "UPLOAD_PATH"]

UPLOAD_PATH = "/import"
router = APIRouter(route_class=PageRoute)
MOST_FILES = 12
MOST_IMPORTS = 20
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
            raise Refused("No file was chosen.", remedy="Choose the CSV files, or one ZIP of them.")
        ticket = wait_for_decision(ctx, given, _browser(request))
    except SolespanError as error:
        return _form(ctx, request, problem=told(error))
    return back_to(f"/import/{quote(ticket, safe='')}")


@router.get("/import/{ticket}")
def read_report(request: Request, ticket: str) -> Response:
    """Show what the files hold, row by row where something is wrong."""
    report = report_of(ticket, _browser(request))
    context = import_page(report) | {"ticket": ticket}
    return page_answer(request, "importing/import_report.html", context)


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
def post_decision(ctx: Context, request: Request, ticket: str, typed: Typed) -> Response:
    """Take all rows, or the good ones, or leave them all."""
    refuse_foreign_form(request, typed)
    browser = _browser(request)
    if typed.get("decision") == "leave":
        forget(ticket, browser)
        return back_to("/import", done="left")
    take(ctx, ticket, browser, keep_good_rows=typed.get("decision") == "good")
    return back_to(f"/import/{quote(ticket, safe='')}")


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


def _browser(request: Request) -> str:
    return request.cookies.get(TOKEN, "")


def _form(ctx: AppContext, request: Request, *, done: str = "", problem: str = "") -> Response:
    with ctx.database.reading() as session:
        there = example_is_there(session)
        past = list_changes(session, below_id=None, limit=MOST_IMPORTS, only="imports")
    context: dict[str, Any] = {"done": done, "problem": problem, "example": there}
    context["imports"] = changes_page(past)
    return page_answer(request, "importing/import.html", context, 422 if problem else 200)


PAGE = PageEntry(
    router,
    NavEntry("Import", "/import"),
    templates=("importing/import.html", "importing/import_report.html"),
    uploads=(UPLOAD_PATH,),
)
