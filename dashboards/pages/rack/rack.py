"""Rack page: what does the rack page say: which pairs, in which order, due when?"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from solespan.dashboards import wording
from solespan.dashboards.order import AT_REST, label_of, pair_rows
from solespan.dashboards.pages.rack.pair_names import distinct_names
from solespan.dashboards.pages.rack.pictures import pictures_of
from solespan.dashboards.pages.rack.rack_bar import bar_axis, bar_of
from solespan.dashboards.pages.rack.verdict import verdict
from solespan.dashboards.tables import due_list
from solespan.dashboards.wears_left import wears_short
from solespan.forecast.frames import BANDS
from solespan.forecast.planning.verdict import URGENT

__all__ = [
    "MOST_DRAWN",
    "ORDERS",
    "PAIRS_A_PAGE",
    "RackList",
    "rack_page",
    "search_for",
    "who_is_meant",
]


ORDERS = {"": "soonest first", "worn": "last worn first", "name": "by name"}
PAIRS_A_PAGE = 60
MOST_SHOWN = 200  # where nothing leads to the others
MOST_DRAWN = 60
MOST_TO_DO = 3
TO_DO = {"Look now": "to look at", "Retire": "to retire"}  # by the words of the list
FOUND_BY = ("maker", "last", "colour", "tags")  # beside the name


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
    order : str
        A key of `ORDERS`.
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
    order: str = ""
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
    verdicts: Mapping[str, str] | None = None,
    horizon_days: int = wording.DEFAULT_HORIZON_DAYS,
) -> dict[str, Any]:
    """Gather the rack page: rows with picture, verdict and bar, a summary, filters and the axis.

    Parameters
    ----------
    forecast, pairs, wearers : DataFrame
        Columns `frames.FORECAST`, `frames.PAIRS`, `frames.WEARERS`, of the pairs on the page.
    whole : RackList, optional
        The list that the page is a part of; None = these pairs are all.
    worn_today : collection of str
        Pairs that were worn today already.
    verdicts : mapping, optional
        Verdict on each pair whose costs were weighed.
    """
    every = due_list(forecast, pairs, wearers, today=today, horizon_days=horizon_days)
    whole = whole or RackList(Counter(row["band"] for row in every), len(every))
    if whole.order:
        place = {pair_id: i for i, pair_id in enumerate(pairs["pair_id"])}
        every.sort(key=lambda row: place[row["pair_id"]])
    shown = every[:MOST_SHOWN]
    said: dict[str, Any] = {row["pair_id"]: row for row in pair_rows(forecast).to_dict("records")}
    pictures, names = pictures_of(pairs), distinct_names(pairs)
    matching = sum(whole.bands.values())
    before = (whole.page - 1) * PAIRS_A_PAGE
    rows = [
        row
        | {
            "pair": names[row["pair_id"]],
            "picture": pictures[row["pair_id"]],
            "worn": row["pair_id"] in worn_today,
            "wearable": row["band"] not in AT_REST,
        }
        | _of_forecast(
            said.get(row["pair_id"]),
            today,
            horizon_days,
            (verdicts or {}).get(row["pair_id"], ""),
        )
        for row in shown
    ]
    to_do = _to_do(rows)
    return {
        "rows": rows,
        "matching": matching,
        "from_to": f"Pairs {before + 1:,} to {before + len(shown):,} of {matching:,}",
        "page": whole.page,
        "pages": whole.pages,
        "summary": _summary(whole.bands, to_do if whole.pages == 1 else None),
        "total": whole.total,
        "wearer_id": whole.wearer_id,
        "band": whole.band,
        "search": whole.search,
        "order": whole.order,
        "orders": ORDERS,
        "narrowed_list": bool(whole.band or whole.search or whole.order),
        "wearers": () if whole.many_wearers else whole.wearers,
        "bands": BANDS,
        "one_wearer": len(whole.wearers) < 2 and not whole.many_wearers,
        "axis": bar_axis(today),
        "as_of": _as_of(forecast),
        "to_do": {what: named[:MOST_TO_DO] for what, named in to_do.items()},
        "away": whole.bands.get("away", 0),
        "most_drawn": MOST_DRAWN,
    }


def _of_forecast(
    row: dict[str, Any] | None, today: pd.Timestamp, horizon_days: int, word: str
) -> dict[str, Any]:
    """Say verdict, wears left and bar of a pair; empty where it has no forecast yet."""
    if row is None:
        return {"verdict": "", "bar": "", "wears": ""}
    return {
        "verdict": verdict(row, today, horizon_days, word=word),
        "bar": bar_of(row, today),
        "wears": wears_short(row),
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
    for column in FOUND_BY:
        if column in pairs:
            texts |= {str(text).casefold() for text in pairs[column].dropna()}
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


def _to_do(rows: Sequence[Mapping[str, Any]]) -> dict[str, list[str]]:
    """Gather the names of the pairs that are due, by what is to be done with them."""
    found: dict[str, list[str]] = {}
    for row in rows:
        if row["band"] in URGENT:
            found.setdefault(TO_DO.get(row["verdict"], "to send"), []).append(row["pair"])
    return {what: found[what] for what in ("to send", *TO_DO.values()) if what in found}


def _summary(bands: Mapping[str, int], to_do: Mapping[str, Sequence[str]] | None) -> str:
    """Say how many pairs there are, and what to do with how many: 14 pairs, 3 to send.

    Of a list longer than a page only the pairs that are due are counted.
    """
    if not bands:
        return ""
    lead = wording.plural(sum(bands.values()), "pair")
    due = sum(bands.get(band, 0) for band in URGENT)
    if not due:
        at_rest = all(band in ("", *AT_REST) for band in bands)
        return lead if at_rest else f"{lead}, none to send"
    if to_do is None:
        return f"{lead}, {due} due"
    return ", ".join([lead, *(f"{len(named)} {what}" for what, named in to_do.items())])


def _as_of(forecast: pd.DataFrame) -> str:
    return "" if forecast.empty else wording.long_date(forecast["as_of"].max())
