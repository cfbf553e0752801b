"""Rack page: what does the rack page say: which pairs, in which order, due when?"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection
from typing import Any

import pandas as pd

from solespan.dashboards import wording
from solespan.dashboards.order import AT_REST, axis_end, foot_rows, label_of, pair_rows
from solespan.dashboards.tables import due_list
from solespan.forecast.frames import BANDS

__all__ = ["MOST_DRAWN", "first_shown", "matching", "rack_page", "who_is_meant"]

URGENT = ("stop wearing", "book in")
MOST_SHOWN = 200
MOST_DRAWN = 60


def rack_page(
    forecast: pd.DataFrame,
    pairs: pd.DataFrame,
    wearers: pd.DataFrame,
    *,
    today: pd.Timestamp,
    wearer_id: str = "",
    band: str = "",
    search: str = "",
    worn_today: Collection[str] = (),
    horizon_days: int = wording.DEFAULT_HORIZON_DAYS,
) -> dict[str, Any]:
    """Gather the rack page: rows with their interval bars, a summary, filters and the axis.

    Parameters
    ----------
    forecast, pairs, wearers : DataFrame
        Columns `frames.FORECAST`, `frames.PAIRS`, `frames.WEARERS`, of everybody.
        The lines of the feet are drawn for the pairs whose feet are in `forecast`.
    wearer_id, band : str
        Show only these; empty shows all, an unknown one shows none.
    search : str
        Show only pairs with each of these words in their name or identifier.
    worn_today : collection of str
        Pairs that were worn today already.
    """
    every = due_list(forecast, pairs, wearers, today=today, horizon_days=horizon_days)
    wanted = matching(pairs, wearer_id, search)
    shown = [row for row in every if row["pair_id"] in wanted and (not band or row["band"] == band)]
    of_shown = {row["pair_id"] for row in shown}
    rows = pair_rows(forecast[forecast["pair_id"].isin(of_shown)])
    bars = _bars(rows.head(MOST_SHOWN), foot_rows(forecast), axis_end(rows, today), today)
    names = {row["wearer_id"]: row["wearer"] for row in every}
    return {
        "rows": [
            row
            | {
                "bar": bars.get(row["pair_id"]),
                "worn": row["pair_id"] in worn_today,
                "wearable": row["band"] not in AT_REST,
            }
            for row in shown[:MOST_SHOWN]
        ],
        "matching": len(shown),
        "summary": _summary(shown),
        "total": len(every),
        "wearer_id": wearer_id,
        "band": band,
        "search": search,
        "narrowed": bool(wearer_id or band or search),
        "wearers": sorted(names.items(), key=lambda item: item[1].casefold()),
        "bands": BANDS,
        "one_wearer": len(names) < 2,
        "axis": _axis(today, axis_end(rows, today)),
        "as_of": _as_of(forecast),
        "most_drawn": MOST_DRAWN,
    }


def matching(pairs: pd.DataFrame, wearer_id: str = "", search: str = "") -> set[str]:
    """Find the pairs of a wearer (empty = all) with each word searched for somewhere in the text.

    Searched are what the pair is called and its identifier, in any case. People's names are not:
    what is searched for stands in the page's address (see `who_is_meant`).
    """
    words = search.casefold().split()
    return {
        str(pair_id)
        for (pair_id, text), owner in zip(_texts(pairs).items(), pairs["wearer_id"], strict=True)
        if (not wearer_id or owner == wearer_id) and all(word in text for word in words)
    }


def first_shown(
    rows: pd.DataFrame, pairs: pd.DataFrame, wearer_id: str, band: str, search: str
) -> pd.DataFrame:
    """Take the resole rows that the page shows first: only their feet need be read."""
    mine = rows[rows["pair_id"].isin(matching(pairs, wearer_id, search))]
    if band:
        mine = mine[mine["band"] == band]
    return mine.head(MOST_SHOWN)


def who_is_meant(
    pairs: pd.DataFrame, wearers: pd.DataFrame, search: str
) -> tuple[dict[str, str] | None, str]:
    """Tell the people from the pairs in what was typed into the search.

    Words found in what pairs are called are left as they are; the others are taken as parts of a
    name.

    Returns
    -------
    people : dict of str, or None
        Wearers with all the words left over in their name: identifier -> name; None = no words
        were left over.
    words : str
        The words about pairs.
    """
    texts = set(_texts(pairs))
    words = search.split()
    about = [word for word in words if any(word.casefold() in text for text in texts)]
    parts = [word.casefold() for word in words if word not in about]
    if not parts:
        return None, " ".join(about)
    named = wearers.dropna(subset=["name"])
    people = {
        wearer_id: name
        for wearer_id, name in zip(named["wearer_id"], named["name"], strict=True)
        if all(part in name.casefold() for part in parts)
    }
    return people, " ".join(about)


def _texts(pairs: pd.DataFrame) -> pd.Series:
    """What each pair can be found by, small letters, by identifier."""
    labels = label_of(pairs)
    text = [f"{label} {pair_id}".casefold() for pair_id, label in labels.items()]
    return pd.Series(text, index=list(labels), dtype=object)


def _summary(shown: list[dict[str, str]]) -> str:
    """Say in one or two sentences what wants doing."""
    if not shown:
        return ""
    counts = Counter(row["band"] for row in shown)
    urgent = [f"{counts[band]} to {band}" for band in URGENT if counts[band]]
    lead = f"{wording.plural(len(shown), 'pair')}"
    if urgent:
        return f"{lead}: {wording.joined(urgent)}."
    first = next((row for row in shown if row["due"]), None)
    if first is None:
        return f"{lead}."
    return f"{lead}, none to send yet."


def _as_of(forecast: pd.DataFrame) -> str:
    return "" if forecast.empty else wording.long_date(forecast["as_of"].max())


def _axis(today: pd.Timestamp, end: pd.Timestamp) -> list[dict[str, Any]]:
    """Name the ticks of the interval bars: every January, or each quarter of a short axis."""
    short = (end - today).days < 800
    ticks = pd.date_range(today, end, freq="QS" if short else "YS")
    span = (end - today).days
    out = []
    for tick in ticks:
        percent = 100 * (tick - today).days / span
        if 8 <= percent <= 92:
            month = wording.MONTHS[tick.month - 1][:3]
            text = str(tick.year) if tick.month == 1 else month
            out.append({"at": f"{percent:.1f}", "text": text})
    return out


def _bars(
    rows: pd.DataFrame,
    feet: dict[str, dict[str, dict[str, Any]]],
    end: pd.Timestamp,
    today: pd.Timestamp,
) -> dict[str, dict[str, Any]]:
    """Place the intervals of each pair and its feet on the axis: start and length in per cent."""
    span = (end - today).days

    def at(day: pd.Timestamp) -> float:
        return min(100.0, max(0.0, 100 * (day - today).days / span))

    def line(row: dict[str, Any]) -> tuple[str, str] | None:
        first, last = row["due_p10"], row["due_p90"]
        if pd.isna(first) or first >= end:
            return None
        right = 100.0 if pd.isna(last) else max(at(last), at(first) + 0.8)
        return f"{round(at(first), 1):g}", f"{round(min(right, 100.0) - at(first), 1):g}"

    out = {}
    row: Any
    for row in rows.to_dict("records"):
        if row["band"] in AT_REST:
            continue
        median = row["due_p50"]
        of_pair = feet.get(row["pair_id"], {})
        out[row["pair_id"]] = {
            "pair": line(row),
            "left": line(of_pair["left"]) if "left" in of_pair else None,
            "right": line(of_pair["right"]) if "right" in of_pair else None,
            "median": f"{round(at(median), 1):g}" if pd.notna(median) and median < end else "",
            "beyond": pd.isna(row["due_p90"]) or row["due_p90"] > end,
        }
    return out
