"""Page routes of export: how does an owner take everything out with a browser, as one file?"""

from __future__ import annotations

import io
from typing import Literal

from fastapi import APIRouter, Request, Response

from solespan.api.routes.http.page_entry import Need, PageEntry
from solespan.api.routes.http.pages import PageRoute, page_answer
from solespan.api.routes.http.requests import Context
from solespan.api.services.importing.exports import export_file, note_export
from solespan.api.services.importing.parquet import can_write_parquet

__all__ = ["PAGE"]

router = APIRouter(route_class=PageRoute)
# Format -> name of the file before and after the day, and its media type.
FILES = {
    "zip": ("solespan-backup", "zip", "application/zip"),
    "xlsx": (
        "solespan",
        "xlsx",
        "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    ),
    "parquet": ("solespan-parquet", "zip", "application/zip"),
}


@router.get("/export")
def read_export(request: Request) -> Response:
    """Show which files there are, and the form that takes a backup back."""
    return page_answer(request, "importing/export.html", {"parquet": can_write_parquet()})


@router.get("/export/{form}")
def download(ctx: Context, form: Literal["zip", "xlsx", "parquet"]) -> Response:
    """Send everything that was logged as one file."""
    content = io.BytesIO()
    export_file(ctx.database, form, content)
    note_export(ctx)
    name, ending, media_type = FILES[form]
    headers = {
        "content-disposition": f'attachment; filename="{name}-{ctx.clock.today()}.{ending}"',
        "cache-control": "no-store",
    }
    return Response(content.getvalue(), media_type=media_type, headers=headers)


PAGE = PageEntry(
    router,
    under="/import",
    templates=("importing/export.html",),
    needs=(Need("/export(/.*)?", "manage", "manage"),),
)
