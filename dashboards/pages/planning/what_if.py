"""What-if page: what would other habits do to the dates of a rack, in words and rows?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

import pandas as pd

from solespan.dashboards import wording

__all__ = ["what_if_page"]

MOVED_DAYS = 14  # a date that moves by less than this is told as the same


def what_if_page(
    items: Sequence[Mapping[str, Any]] | None, *, today: date, horizon_days: int
) -> dict[str, Any]:
    """Gather the comparison.

    Parameters
    ----------
    items : sequence of mappings or None
        Per pair `pair_id`, `label`, and `send_by`, `due_p10`, `due_p50`, `due_p90` (ISO dates or
        None) and `wear_days_365d`, each `_now` and `_then`. None where nothing was asked.
    """
    if items is None:
        return {"rows": [], "lead": ""}
    day = pd.Timestamp(today)
    rows = [_row(one, day, horizon_days) for one in items]
    moved = [row for row in rows if row["moved"]]
    if not moved:
        lead = f"No send-by date moves by more than {MOVED_DAYS} days."
    else:
        begin = "The send-by date of 1 pair moves"
        if len(moved) > 1:
            begin = f"The send-by dates of {len(moved)} pairs move"
        lead = f"{begin} by more than {MOVED_DAYS} days."
    return {"rows": rows, "lead": lead}


def _row(one: Mapping[str, Any], today: pd.Timestamp, horizon_days: int) -> dict[str, Any]:
    def said(name: str) -> str:
        if one[name] is None:
            return wording.beyond(horizon_days)
        on = pd.Timestamp(one[name])
        return "now" if on <= today else wording.long_date(on)

    def middle(name: str) -> str:
        if one[name] is None:
            return wording.beyond(horizon_days)
        on = pd.Timestamp(one[name])
        return "now" if on <= today else wording.around(on)

    now, then = one["send_by_now"], one["send_by_then"]
    if now is None or then is None:
        moved = now != then
    else:
        moved = abs((pd.Timestamp(now) - pd.Timestamp(then)).days) > MOVED_DAYS
    return {
        "pair_id": str(one["pair_id"]),
        "pair": str(one["label"] or one["pair_id"]),
        "moved": moved,
        "send_now": said("send_by_now"),
        "send_then": said("send_by_then"),
        "even_now": middle("due_p50_now"),
        "even_then": middle("due_p50_then"),
        "wears_now": f"{one['wear_days_365d_now']:.0f}",
        "wears_then": f"{one['wear_days_365d_then']:.0f}",
    }
