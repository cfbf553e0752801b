"""Backup page: what does the page say when a backup is restored, or would replace records?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from solespan.dashboards.pages.rack.record import table_word

__all__ = ["DONE", "replaced_lines"]

DONE = {
    "restored": "The backup is restored. You can undo it for 30 days, also under Import.",
    "same": "Everything in this backup is here already; nothing was changed.",
    "left": "Nothing was changed.",
}


def replaced_lines(report: Mapping[str, Any]) -> list[str]:
    """Say how many records of each table a backup would replace."""
    return [
        f"{of['updated']:,} {table_word(name, of['updated'])}"
        for name, of in report["counts"].items()
        if of["updated"]
    ]
