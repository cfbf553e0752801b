"""Due table.

What does the due list say of each pair, as plain rows for terminal, report and page alike?
"""

from __future__ import annotations

from typing import Any

import pandas as pd
from pandas.api.typing import NaTType

from solespan.dashboards import wording
from solespan.dashboards.order import label_of, pair_rows
from solespan.dashboards.wears_left import wears_left
from solespan.forecast.frames import PROBABLY_GONE

__all__ = ["DUE_HEADINGS", "due_list", "readings_table", "sole_sentences"]

DUE_HEADINGS: dict[str, str] = {
    "pair": "Pair",
    "wearer": "Wearer",
    "band": "Band",
    "due": "New sole due (80 %)",
    "soon": "Middle estimate",
    "wears": "Wears left",
    "send_by": "Send by",
    "book_by": "Book by",
    "first_foot": "First foot",
}


def due_list(
    forecast: pd.DataFrame,
    pairs: pd.DataFrame,
    wearers: pd.DataFrame,
    *,
    today: pd.Timestamp,
    horizon_days: int = wording.DEFAULT_HORIZON_DAYS,
) -> list[dict[str, str]]:
    """Say, for each pair in the order of its send-by date, when it is due and what to do by when.

    Parameters
    ----------
    forecast : DataFrame
        Columns `frames.FORECAST`.
    pairs, wearers : DataFrame
        Tables of `frames.TABLES`.

    Returns
    -------
    list of dict
        The keys of `DUE_HEADINGS` plus `pair_id`, `wearer_id`, `reason` and `gone`. Every value is
        a string ready to be shown (but not escaped), empty where there is nothing to say. Pairs
        without a forecast stand last.
    """
    labels = label_of(pairs)
    owner = dict(zip(pairs["pair_id"], pairs["wearer_id"], strict=True))
    names = {
        wearer_id: name if isinstance(name, str) and name.strip() else str(wearer_id)
        for wearer_id, name in zip(wearers["wearer_id"], wearers["name"], strict=True)
    }
    out = []
    row: Any
    for row in pair_rows(forecast).to_dict("records"):
        wearer_id = owner.get(row["pair_id"], "")
        at_rest = row["band"] in ("away", "retired")
        far = wording.beyond(horizon_days)
        gone = not at_rest and bool(row["chance_in_use"] < PROBABLY_GONE)
        out.append(
            {
                "pair_id": str(row["pair_id"]),
                "wearer_id": str(wearer_id),
                "pair": labels.get(row["pair_id"], str(row["pair_id"])),
                "wearer": names.get(wearer_id, str(wearer_id)),
                "band": str(row["band"]),
                "due": ""
                if at_rest
                else wording.due_sentence(
                    row["due_p10"], row["due_p90"], today=today, horizon_days=horizon_days
                ),
                "soon": "" if at_rest else _soon(row["due_p50"], today, far),
                "wears": wears_left(row),
                "send_by": "" if at_rest else _day(row["send_by"], today, far),
                "book_by": "" if at_rest else _day(row["book_by"], today, far),
                "first_foot": "" if at_rest else wording.first_foot(row["first_foot"]),
                "reason": row["reason"] if isinstance(row["reason"], str) else "",
                "gone": "probably no longer in use" if gone else "",
            }
        )
    forecast_for = {entry["pair_id"] for entry in out}
    for pair_id in sorted(set(labels) - forecast_for):
        blank = dict.fromkeys(
            ("band", "due", "soon", "wears", "send_by", "book_by", "first_foot"), ""
        )
        out.append(
            {
                "pair_id": pair_id,
                "wearer_id": str(owner[pair_id]),
                "pair": labels[pair_id],
                "wearer": names.get(owner[pair_id], str(owner[pair_id])),
                **blank,
                "reason": "no forecast yet",
                "gone": "",
            }
        )
    return out


def _soon(median: pd.Timestamp | NaTType, today: pd.Timestamp, far: str) -> str:
    return far if pd.isna(median) else wording.about_days((median - today).days)


def _day(day: pd.Timestamp | NaTType, today: pd.Timestamp, far: str) -> str:
    if pd.isna(day):
        return far
    return "now" if day <= today else wording.long_date(day)


def readings_table(checks: pd.DataFrame) -> list[dict[str, str]]:
    """List the checks of one pair, latest first: day, foot, point, what was found, how."""
    rows = checks.sort_values(["checked_on", "point", "foot"], ascending=[False, True, True])
    return [
        {
            "checked_on": wording.short_date(row["checked_on"]),
            "foot": row["foot"],
            "point": row["point"],
            "found": wording.millimetres(row["value_mm"], 2)
            if pd.notna(row["value_mm"])
            else wording.spaced(row["grade"]),
            "method": wording.spaced(row["method"]),
        }
        for row in rows.to_dict("records")
    ]


def sole_sentences(soles: pd.DataFrame) -> list[str]:
    """Say each sole of one pair in a sentence, the one on it now first."""
    out = []
    for row in soles.sort_values("fitted_on", ascending=False).to_dict("records"):
        material = wording.spaced(row["material"])
        gone = wording.short_date(row["removed_on"])
        ended = f"taken off {gone}" if gone else "on the pair now"
        limit = (
            f", limit {wording.millimetres(row['limit_mm'])} at the ball"
            if pd.notna(row["limit_mm"])
            else ""
        )
        out.append(
            f"{material[0].upper()}{material[1:]}, "
            f"{wording.millimetres(row['nominal_thickness_mm'])} when new{limit}; fitted "
            f"{wording.short_date(row['fitted_on'])}, {ended}."
        )
    return out
