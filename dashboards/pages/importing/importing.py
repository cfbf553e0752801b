"""Importing page.

What does the report on uploaded files say: counts by file, and each row that is in doubt?
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from solespan.dashboards import wording

__all__ = ["ROWS_SHOWN", "import_page"]

ROWS_SHOWN = 200
COUNTED = ("rows", "refused", "questioned", "new", "updated", "unchanged")


def import_page(report: Mapping[str, Any]) -> dict[str, Any]:
    """Gather the page from a report as the service answers it (`written`, `counts`, `rows`)."""
    counts = report["counts"]
    total = {name: sum(of[name] for of in counts.values()) for name in COUNTED}
    good = total["new"] + total["updated"]
    return {
        "written": report["written"],
        "lead": _lead(total, good, written=report["written"]),
        "counts": [(file, [of[name] for name in COUNTED]) for file, of in counts.items()],
        "counted": COUNTED,
        "refused": total["refused"],
        "good": good,
        "rows": report["rows"][:ROWS_SHOWN],
        "more": len(report["rows"]) - ROWS_SHOWN + report["rows_left_out"],
    }


def _lead(total: Mapping[str, int], good: int, *, written: bool) -> str:
    rows = wording.plural(total["rows"], "row")
    if written:
        left = f"; {total['refused']} were refused and left out" if total["refused"] else ""
        return f"Taken: {total['new']} new, {total['updated']} updated, of {rows}{left}."
    if total["refused"]:
        return (
            f"Nothing was changed yet. Of {rows}, {total['refused']} cannot be true; "
            f"{good} are new or changed and could be taken."
        )
    if not good:
        return f"All {rows} are on the rack already; there is nothing to take."
    return f"Nothing was changed yet. {rows} read: {good} new or changed, none refused."
