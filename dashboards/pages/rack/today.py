"""Today page: what should one wearer wear today, and why?

The stored plan answers where it covers the day. Otherwise the day's dress code, rest and dates do.
Rested pairs that are not soon due come first, and among these the one worn longest ago. On a wet
day, soles of rubber come before leather.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from solespan.dashboards import wording
from solespan.dashboards.order import AT_REST, label_of, pair_rows
from solespan.dashboards.pages.rack.pictures import picture_of
from solespan.forecast.frames import DRESS_CODES

__all__ = ["REST_DAYS", "REST_DAYS_WET", "DayChoice", "today_panel"]

# Full days between two wears: common practice, no source.
REST_DAYS, REST_DAYS_WET = 1, 2
WEARABLE = ("sound", "watch", "book in")
LOOK_FIRST = ("watch", "book in")
OTHERS_SHOWN = 3
AHEAD_SHOWN = 2
LIKELY_SHOWN = 3
NEVER_DAYS = 10_000


@dataclass(frozen=True)
class DayChoice:
    """What the wearer said of the day.

    `code` is its dress code, empty = any; `wet` says that it rains. `skipped` are pairs not to be
    named today, and `rubber` those whose soles are not of leather. `chosen` says that the code was
    chosen for this day alone.
    """

    code: str = ""
    wet: bool = False
    skipped: Collection[str] = ()
    rubber: Collection[str] = ()
    chosen: bool = False


def today_panel(
    forecast: pd.DataFrame,
    pairs: pd.DataFrame,
    wear_days: pd.DataFrame,
    *,
    today: pd.Timestamp,
    plan: Mapping[str, Any] | None = None,
    reasons: Sequence[Mapping[str, Any]] = (),
    day: DayChoice | None = None,
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
    day : DayChoice, optional
        What is known of the day. A dress code chosen for this day comes before the plan.
    """
    day = day or DayChoice()
    labels = label_of(pairs)
    codes = dict(zip(pairs["pair_id"], pairs["dress_code"], strict=True))
    rows = pair_rows(forecast)
    band = dict(zip(rows["pair_id"], rows["band"], strict=True))
    planned_days = {one["worn_on"]: one for one in (plan or {}).get("days", ())}
    on_day = None if day.chosen else planned_days.get(wording.iso(today))
    ranked = _ranked(rows, wear_days, codes, today, day)
    worn = [str(p) for p in wear_days.loc[wear_days["worn_on"] == today, "pair_id"]]
    pick, others = None, ranked
    if on_day is not None and on_day["pair_id"] in labels:
        planned = on_day["pair_id"]
        why = {one["pair_id"]: one["reason"] for one in reasons}.get(planned, "")
        pick = {"pair_id": planned, "reason": f"The plan says so. {why}".strip()}
        if band.get(planned) not in WEARABLE or planned in day.skipped:
            pick = None
        others = [one for one in ranked if one["pair_id"] != planned]
    if pick is None and ranked:
        pick, others = ranked[0], ranked[1:]
    return {
        "day": f"{today:%A} {today.day} {wording.MONTHS[today.month - 1]}",
        "pick": None if pick is None else pick | _drawn(pick["pair_id"], pairs, labels),
        "others": [one | {"label": labels[one["pair_id"]]} for one in others[:OTHERS_SHOWN]],
        "worn": [{"pair_id": p, "label": labels[p]} for p in worn if p in labels],
        "no_pair": on_day is not None and on_day["pair_id"] is None,
        "why_none": _why_none(rows["band"]),
        "ahead": _ahead(planned_days, labels, today),
        "code": day.code,
        "codes": DRESS_CODES,
        "wet": day.wet,
        "skipped": [labels[p] for p in day.skipped if p in labels],
        "weekday": f"{today:%A}",
        "yesterday": _yesterday(rows, wear_days, labels, today, planned_days),
    }


def _drawn(pair_id: str, pairs: pd.DataFrame, labels: Mapping[str, str]) -> dict[str, Any]:
    record: Any = pairs.loc[pairs["pair_id"] == pair_id].iloc[0].to_dict()
    photo_id = record.get("photo_id")
    picture = picture_of(record, photo_id if isinstance(photo_id, str) else "")
    return {"label": labels[pair_id], "picture": picture}


def _why_none(bands: pd.Series) -> str:
    """Count what keeps the pairs from being worn: 2 away, 1 at its limit."""
    words = {"away": "away", "stop wearing": "at the limit", "retired": "retired"}
    counts = bands.value_counts()
    said = [f"{counts[band]} {word}" for band, word in words.items() if band in counts]
    return ", ".join(said)


def _ahead(
    planned_days: Mapping[str, Mapping[str, Any]], labels: Mapping[str, str], today: pd.Timestamp
) -> list[dict[str, str]]:
    """Name the next planned days and their pairs."""
    days = (today + pd.Timedelta(days=ahead) for ahead in range(1, AHEAD_SHOWN + 1))
    found = [(day, str(planned_days.get(wording.iso(day), {}).get("pair_id"))) for day in days]
    return [{"day": f"{day:%A}", "label": labels[pair]} for day, pair in found if pair in labels]


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
    rows: pd.DataFrame,
    wear_days: pd.DataFrame,
    codes: Mapping[str, Any],
    today: pd.Timestamp,
    day: DayChoice,
) -> list[dict[str, str]]:
    """Order the pairs that may be worn, the best first, each with its reason."""
    before = wear_days[wear_days["worn_on"] < today].sort_values("worn_on")
    last = {str(r["pair_id"]): (r["worn_on"], bool(r["wet"])) for r in before.to_dict("records")}
    found = []
    for row in rows[rows["band"].isin(WEARABLE)].to_dict("records"):
        pair_id = str(row["pair_id"])
        if pair_id in day.skipped or pair_id not in codes:
            continue
        worn_on, wet = last.get(pair_id, (None, False))
        rested = NEVER_DAYS if worn_on is None else (today - worn_on).days - 1
        enough = rested >= (REST_DAYS_WET if wet else REST_DAYS)
        its_code = codes[pair_id] if isinstance(codes[pair_id], str) else ""
        for_day = 0 if not day.code or its_code == day.code else 1 if not its_code else 2
        leather = day.wet and pair_id not in day.rubber
        rank = (for_day, not enough, leather, row["band"] == "book in", -rested, pair_id)
        said = [_rest(rested, enough=enough, wet=wet)]
        said += [its_code] if its_code else []
        said += [("leather" if leather else "rubber") + " sole, wet day"] if day.wet else []
        reason = f"{'; '.join(said)}."
        if row["band"] in LOOK_FIRST:
            reason += " Look at the sole first."
        found.append((rank, {"pair_id": pair_id, "reason": reason}))
    return [one for _, one in sorted(found, key=lambda ranked: ranked[0])]


def _rest(rested: int, *, enough: bool, wet: bool) -> str:
    if rested >= NEVER_DAYS:
        return "Rested for weeks"
    only = "" if enough else "only "
    after = " after a wet day" if wet and not enough else ""
    return f"Rested {only}{wording.plural(rested, 'day')}{after}"
