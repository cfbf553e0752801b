"""Command of past imports: `list imports`."""

from __future__ import annotations

import typer

from solespan.api.cli.files import PIPE
from solespan.api.cli.options import MOST_LISTED, Limit, find_lists
from solespan.api.cli.output import Format, Out, OutputFormat, show_rows

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add the command."""
    find_lists(app).command("imports")(imports)


def imports(limit: Limit = MOST_LISTED, form: Format = OutputFormat.TABLE, out: Out = PIPE) -> None:
    """List the imports that changed something, newest first."""
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.importing.imports import ImportPage
    from solespan.api.services.importing.imports import list_imports

    with serving() as services, services.database.reading() as session:
        found = list_imports(session, after=None, limit=limit + 1)
    rows = [
        row | {"new": _counted(row, "new"), "updated": _counted(row, "updated")} for row in found
    ]
    columns = {"import": "import_id", "at (UTC)": "imported_at", "from": "source"}
    columns |= {"new": "new", "updated": "updated"}
    show_rows(ImportPage, rows, columns, form=form, out=out, limit=limit)


def _counted(row: dict[str, object], what: str) -> int:
    counts: dict[str, dict[str, int]] = row["counts"]  # type: ignore[assignment]
    return sum(one[what] for one in counts.values())
