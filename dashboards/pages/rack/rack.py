"""Rack page: what does the rack page say: which pairs, in which order, due when?"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from solespan.dashboards import wording
from solespan.dashboards.order import AT_REST, axis_end, foot_rows, label_of
from solespan.dashboards.tables import due_list
from solespan.forecast.frames import BANDS

__all__ = ["MOST_DRAWN", "PAIRS_A_PAGE", "RackList", "rack_page", "search_for", "who_is_meant"]

URGENT = ("stop wearing", "book in")
PAIRS_A_PAGE = 100
MOST_SHOWN = 200  # where nothing leads to the others
MOST_DRAWN = 60


@dataclass(frozen=True)
class RackList:
    """What the rack page says of the list beside the pairs of one page of it.

    Parameters
    ----------
    bands : mapping
        How many pairs there are, narrowed as asked, by band; empty = without a forecast.
    total : int
        All pairs there are.
    wearers : sequence of (wearer_id, name)
        Everybody who has a pair.
    many_wearers : bool
        Whether they are too many for a list to choose from.
    wearer_id, band, search : str
        What narrows the list; empty = nothing.
    page, pages : int
        Which page of the list this is, from 1, and how many there are.
    """

    bands: Mapping[str, int]
    total: int
    wearers: Sequence[tuple[str, str]] = ()
    many_wearers: bool = False
    wearer_id: str = ""
    band: str = ""
    search: str = ""
    page: int = 1
    pages: int = 1


def rack_page(
    forecast: pd.DataFrame,
    pairs: pd.DataFrame,
    wearers: pd.DataFrame,
    *,
    today: pd.Timestamp,
    whole: RackList | None = None,
    worn_today: Collection[str] = (),
    horizon_days: int = wording.DEFAULT_HORIZON_DAYS,
) -> dict[str, Any]:
    """Gather the rack page: rows with their interval bars, a summary, filters and the axis.

    Parameters
    ----------
    forecast, pairs, wearers : DataFrame
        Columns `frames.FORECAST`, `frames.PAIRS`, `frames.WEARERS`, of the pairs on the page.
        The lines of the feet are drawn for the pairs whose feet are in `forecast`.
    whole : RackList, optional
        The list that the page is a part of; None = these pairs are all.
    worn_today : collection of str
        Pairs that were worn today already.
    """
    every = due_list(forecast, pairs, wearers, today=today, horizon_days=horizon_days)
    whole = whole or RackList(Counter(row["band"] for row in every), len(every))
    resoles = forecast[(forecast["foot"] == "pair") & (forecast["point"] == "ball")]
    end = axis_end(resoles, today)
    bars = _bars(resoles, foot_rows(forecast), end, today)
    shown = every[:MOST_SHOWN]
    matching = sum(whole.bands.values())
    before = (whole.page - 1) * PAIRS_A_PAGE
    return {
        "rows": [
            row
            | {
                "bar": bars.get(row["pair_id"]),
                "worn": row["pair_id"] in worn_today,
                "wearable": row["band"] not in AT_REST,
            }
            for row in shown
        ],
        "matching": matching,
        "from_to": f"Pairs {before + 1:,} to {before + len(shown):,} of {matching:,}",
        "page": whole.page,
        "pages": whole.pages,
        "summary": _summary(whole.bands),
        "total": whole.total,
        "wearer_id": whole.wearer_id,
        "band": whole.band,
        "search": whole.search,
        "wearers": () if whole.many_wearers else whole.wearers,
        "bands": BANDS,
        "one_wearer": len(whole.wearers) < 2 and not whole.many_wearers,
        "axis": _axis(today, end),
        "as_of": _as_of(forecast),
        "most_drawn": MOST_DRAWN,
    }


def search_for(search: str) -> Callable[[str | None, str], bool] | None:
    """Return what tells whether a pair, by its label and identifier, has each word; None = any.

    Letters may be large or small. People's names are not searched: what is searched for stands in
    the page's address (see `who_is_meant`).
    """
    words = search.casefold().split()
    return (lambda label, pair_id: _has_all(words, label, pair_id)) if words else None


def _has_all(words: Sequence[str], label: str | None, pair_id: str) -> bool:
    text = _text(label, pair_id)
    return all(word in text for word in words)


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
    texts = {_text(label, pair_id) for pair_id, label in label_of(pairs).items()}
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


def _text(label: str | None, pair_id: str) -> str:
    """What a pair can be found by, in small letters."""
    return f"{label or ''} {pair_id}".casefold()


def _summary(bands: Mapping[str, int]) -> str:
    """Say in one or two sentences what wants doing."""
    if not bands:
        return ""
    urgent = [f"{bands[band]} to {band}" for band in URGENT if bands.get(band)]
    lead = f"{wording.plural(sum(bands.values()), 'pair')}"
    if urgent:
        return f"{lead}: {wording.joined(urgent)}."
    if all(band in ("", *AT_REST) for band in bands):
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
