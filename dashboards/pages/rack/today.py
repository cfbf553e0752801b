"""Today page: what should one wearer wear today, and why?

The stored plan answers where it covers the day. Otherwise rest and dates do. Rested pairs that are
not soon due come first, and among these the one worn longest ago.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from solespan.dashboards import wording
from solespan.dashboards.order import AT_REST, label_of, pair_rows

__all__ = ["REST_DAYS", "REST_DAYS_WET", "today_panel"]

# Full days between two wears: common practice, no source.
REST_DAYS, REST_DAYS_WET = 1, 2
WEARABLE = ("sound", "watch", "book in")
OTHERS_SHOWN = 3
LIKELY_SHOWN = 3
NEVER_DAYS = 10_000


def today_panel(
    forecast: pd.DataFrame,
    pairs: pd.DataFrame,
    wear_days: pd.DataFrame,
    *,
    today: pd.Timestamp,
    plan: Mapping[str, Any] | None = None,
    reasons: Sequence[Mapping[str, Any]] = (),
) -> dict[str, Any]:
    """Say what to wear today, what else could be worn, and what was worn already.

    Parameters
    ----------
    forecast, pairs : DataFrame
        Columns `frames.FORECAST` and `frames.PAIRS`, of one wearer.
    wear_days : DataFrame
        Columns `frames.WEAR_DAYS`: the last weeks are enough.
    plan : mapping or None
        The newest plan as the service answers it.
    reasons : sequence of mappings
        `pair_id` and `reason` of every pair on this day of the plan.
    """
    labels = label_of(pairs)
    rows = pair_rows(forecast)
    band = dict(zip(rows["pair_id"], rows["band"], strict=True))
    planned_days = {day["worn_on"]: day for day in (plan or {}).get("days", ())}
    on_day = planned_days.get(wording.iso(today))
    ranked = _ranked(rows, wear_days, today)
    worn = [str(p) for p in wear_days.loc[wear_days["worn_on"] == today, "pair_id"]]
    pick, others = None, ranked
    if on_day is not None and on_day["pair_id"] in labels:
        planned = on_day["pair_id"]
        why = {one["pair_id"]: one["reason"] for one in reasons}.get(planned, "")
        pick = {"pair_id": planned, "reason": f"The plan says so. {why}".strip()}
        if band.get(planned) not in WEARABLE:
            pick = None
        others = [one for one in ranked if one["pair_id"] != planned]
    if pick is None and ranked:
        pick, others = ranked[0], ranked[1:]
    return {
        "day": wording.long_date(today),
        "pick": None if pick is None else pick | {"label": labels[pick["pair_id"]]},
        "others": [one | {"label": labels[one["pair_id"]]} for one in others[:OTHERS_SHOWN]],
        "worn": [{"pair_id": p, "label": labels[p]} for p in worn if p in labels],
        "no_pair": on_day is not None and on_day["pair_id"] is None,
        "yesterday": _yesterday(rows, wear_days, labels, today, planned_days),
    }


def _yesterday(
    rows: pd.DataFrame,
    wear_days: pd.DataFrame,
    labels: Mapping[str, str],
    today: pd.Timestamp,
    planned_days: Mapping[str, Mapping[str, Any]],
) -> dict[str, Any]:
    """Say which pairs were logged yesterday; where none was, name the likely ones.

    The pair of the plan comes first, then those worn most often that had a day of rest.
    """
    day = today - pd.Timedelta(days=1)
    worn = [p for p in wear_days.loc[wear_days["worn_on"] == day, "pair_id"] if p in labels]
    near = wear_days["worn_on"].between(day - pd.Timedelta(days=REST_DAYS), today)
    tired = set(wear_days.loc[near, "pair_id"])
    times = wear_days["pair_id"].value_counts()
    planned = planned_days.get(wording.iso(day), {}).get("pair_id")
    wearable = [str(p) for p in rows.loc[~rows["band"].isin(AT_REST), "pair_id"] if p in labels]
    ranked = sorted(wearable, key=lambda p: (p != planned, p in tired, -int(times.get(p, 0))))
    return {
        "worn": [{"pair_id": p, "label": labels[p]} for p in worn],
        "likely": [{"pair_id": p, "label": labels[p]} for p in ranked[:LIKELY_SHOWN]],
    }


def _ranked(
    rows: pd.DataFrame, wear_days: pd.DataFrame, today: pd.Timestamp
) -> list[dict[str, str]]:
    """Order the pairs that may be worn, the best first, each with its reason."""
    before = wear_days[wear_days["worn_on"] < today].sort_values("worn_on")
    last = {str(r["pair_id"]): (r["worn_on"], bool(r["wet"])) for r in before.to_dict("records")}
    found = []
    for row in rows[rows["band"].isin(WEARABLE)].to_dict("records"):
        pair_id = str(row["pair_id"])
        worn_on, wet = last.get(pair_id, (None, False))
        rested = NEVER_DAYS if worn_on is None else (today - worn_on).days - 1
        enough = rested >= (REST_DAYS_WET if wet else REST_DAYS)
        rank = (not enough, row["band"] == "book in", -rested, pair_id)
        found.append((rank, pair_id, _reason(row["band"], rested, enough=enough, wet=wet)))
    return [{"pair_id": pair_id, "reason": reason} for _, pair_id, reason in sorted(found)]


def _reason(band: str, rested: int, *, enough: bool, wet: bool) -> str:
    if rested >= NEVER_DAYS:
        rest = "It has rested for weeks"
    elif not enough:
        after = " after a wet day" if wet else ""
        rest = f"It has rested only {wording.plural(rested, 'full day')}{after}"
    else:
        rest = f"It has rested {wording.plural(rested, 'full day')}"
    due = {
        "sound": "its sole is sound",
        "watch": "its sole is on watch",
        "book in": "its sole is to be booked in, so wear it only when the others rest",
    }[band]
    return f"{rest}, and {due}." if enough else f"{rest}; {due}."
