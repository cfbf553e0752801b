"""Spread page.

What do the due dates of a rack look like with the plan and without, in words and rows?
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd
from pandas.api.typing import NaTType

from solespan.dashboards import wording

__all__ = ["WINDOW_DAYS", "most_within", "spread_page"]

WINDOW_DAYS = 90


def spread_page(
    what_if: pd.DataFrame | None,
    *,
    today: pd.Timestamp,
    wearer_id: str,
    wearers: Sequence[tuple[str, str]] = (),
    missing: str = "",
    horizon_days: int = wording.DEFAULT_HORIZON_DAYS,
) -> dict[str, Any]:
    """Gather the comparison of one rack.

    Parameters
    ----------
    what_if : DataFrame or None
        `pair_id`, `label` and the dates `due_p10`, `due_p50`, `due_p90`, each `_now` and `_then`.
        None where there is no plan or forecast; `missing` says which.
    """
    context = {"wearer_id": wearer_id, "wearers": wearers, "missing": missing}
    context |= {"lead": "", "rows": []}
    if what_if is None:
        return context
    ordered = what_if.sort_values(["due_p50_then", "due_p50_now", "pair_id"], na_position="last")
    return context | {
        "lead": _lead(what_if, today),
        "rows": [
            {
                "pair_id": str(row["pair_id"]),
                "pair": str(row["label"]),
                "now": _median(row["due_p50_now"], today, horizon_days),
                "then": _median(row["due_p50_then"], today, horizon_days),
                "span_then": wording.due_sentence(
                    row["due_p10_then"], row["due_p90_then"], today=today, horizon_days=horizon_days
                ),
            }
            for row in ordered.to_dict("records")
        ],
    }


def most_within(days: pd.Series, window_days: int = WINDOW_DAYS) -> tuple[int, pd.Timestamp | None]:
    """Count the most dates within any window, and say when the fullest one begins."""
    known = days.dropna().sort_values(ignore_index=True)
    best: tuple[int, pd.Timestamp | None] = (0, None)
    for start in known:
        inside = int(known.between(start, start + pd.Timedelta(days=window_days - 1)).sum())
        if inside > best[0]:
            best = (inside, start)
    return best


def _lead(what_if: pd.DataFrame, today: pd.Timestamp) -> str:
    """Compare how many pairs fall due together, by their middle estimate."""
    now, now_from = most_within(what_if["due_p50_now"])
    then, then_from = most_within(what_if["due_p50_then"])
    if now_from is None and then_from is None:
        return "No pair is as likely as not to be due within the horizon, planned or not."
    first = (
        f"By middle estimate, {_together(now, now_from, today)} as the rack is worn now, "
        f"and {_together(then, then_from, today)} with the plan"
    )
    if now == then:
        return f"{first}: the plan does not change how many fall due together."
    return f"{first}: the plan spreads them." if then < now else f"{first}: it bunches them."


def _together(count: int, start: pd.Timestamp | None, today: pd.Timestamp) -> str:
    if start is None:
        return "no pair falls due"
    when = "now" if start <= today else wording.around(start)
    noun = "falls" if count == 1 else "fall"
    at_most = f"at most {wording.plural(count, 'pair')} {noun} due"
    return f"{at_most} within {WINDOW_DAYS} days (from {when})"


def _median(day: pd.Timestamp | NaTType, today: pd.Timestamp, horizon_days: int) -> str:
    if pd.isna(day):
        return wording.beyond(horizon_days)
    return "now" if day <= today else wording.around(day)
