"""Page routes of export.

How does an owner take everything out with a browser, as one file, and put a backup back?
"""

from __future__ import annotations

import io
from typing import Annotated, Any, Literal

from fastapi import APIRouter, File, Form, Request, Response, UploadFile

from solespan.api.errors import Refused, SolespanError
from solespan.api.routes.http.page_entry import Need, PageEntry
from solespan.api.routes.http.pages import (
    TOKEN,
    PageRoute,
    Words,
    back_to,
    page_answer,
    refuse_foreign_form,
    told,
)
from solespan.api.routes.http.requests import Context
from solespan.api.services.context import AppContext
from solespan.api.services.importing.backups import WouldReplace, restore_backup, write_backup
from solespan.api.services.importing.exports import export_file, note_export
from solespan.api.services.importing.import_desk import forget_file, keep_file, kept_file
from solespan.api.services.importing.parquet import can_write_parquet
from solespan.dashboards.pages.importing.backup import DONE, replaced_lines

__all__ = ["PAGE", "RESTORE_PATH"]

RESTORE_PATH = "/export/restore"
router = APIRouter(route_class=PageRoute)
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
# Format -> name of the file before and after the day, and its media type.
FILES = {
    "backup": ("solespan-backup", "zip", "application/zip"),
    "zip": ("solespan-csv", "zip", "application/zip"),
    "xlsx": ("solespan", "xlsx", XLSX),
    "parquet": ("solespan-parquet", "zip", "application/zip"),
}


@router.get("/export")
def read_export(request: Request, done: Words = "") -> Response:
    """Show which files there are, and the form that takes a backup back."""
    return _page(request, done=DONE.get(done, ""))


@router.get("/export/{form}")
def download(ctx: Context, form: Literal["backup", "zip", "xlsx", "parquet"]) -> Response:
    """Send everything that was entered, or that was logged, as one file."""
    content = io.BytesIO()
    if form == "backup":
        write_backup(ctx, content)
    else:
        export_file(ctx.database, form, content)
    note_export(ctx)
    name, ending, media_type = FILES[form]
    headers = {
        "content-disposition": f'attachment; filename="{name}-{ctx.clock.today()}.{ending}"',
        "cache-control": "no-store",
    }
    return Response(content.getvalue(), media_type=media_type, headers=headers)


@router.post(RESTORE_PATH)
def restore(
    ctx: Context,
    request: Request,
    file: Annotated[UploadFile | None, File()] = None,
    ticket: Annotated[str, Form(max_length=100)] = "",
    decision: Annotated[str, Form(max_length=20)] = "",
    form_token: Annotated[str, Form(max_length=200)] = "",
) -> Response:
    """Restore a backup at once; ask first where records would be replaced."""
    browser = request.cookies.get(TOKEN, "")
    try:
        refuse_foreign_form(request, {TOKEN: form_token})
        if decision == "leave":
            forget_file(ticket, browser)
            return back_to("/export", done="left")
        if file is not None and file.filename:
            ticket = keep_file(file.file, browser)
        elif not ticket:
            raise Refused("No file was chosen.", remedy="Choose the backup, a file ending in .zip.")
        return _restored(ctx, request, ticket, replace=decision == "replace")
    except SolespanError as error:
        return _page(request, problem=told(error), status=422)


def _restored(ctx: AppContext, request: Request, ticket: str, *, replace: bool) -> Response:
    browser = request.cookies.get(TOKEN, "")
    path = kept_file(ticket, browser)
    try:
        report, undo = restore_backup(ctx, path, replace=replace)
    except WouldReplace as asked:
        return _page(request, ticket=ticket, replaced=replaced_lines(asked.report.to_dict()))
    except SolespanError:
        forget_file(ticket, browser)
        raise
    forget_file(ticket, browser)
    return back_to("/export", done="restored" if report.changed else "same", undo=undo)


def _page(request: Request, *, status: int = 200, **context: Any) -> Response:
    shown = {"problem": "", "replaced": [], "parquet": can_write_parquet(), **context}
    return page_answer(request, "importing/export.html", shown, status)


PAGE = PageEntry(
    router,
    under="/import",
    templates=("importing/export.html",),
    needs=(Need("/export(/.*)?", "manage", "manage"),),
    uploads=(RESTORE_PATH,),
)
