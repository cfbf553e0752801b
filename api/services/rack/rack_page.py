"""Rack page service.

Which rows do the rack page and its figures draw from? A page takes as many from a large rack as
from a small one.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import pandas as pd
from sqlalchemy import Row
from sqlalchemy.orm import Session

from solespan.api.services.context import AppContext
from solespan.api.services.planning.plans import reasons_on, shown_plan
from solespan.api.services.planning.rack import verdicts_on
from solespan.api.services.rack.day_choice import SaidOfDay, code_of_week, read_day_choice
from solespan.api.services.rack.page_frames import MOST_ROWS, due_rows, listed, whose_page
from solespan.api.storage.forecasts.rack_list import (
    LISTED,
    PLACES,
    RackFilter,
    ball_rows,
    count_bands,
    count_pairs,
    list_pairs,
    ordered_pairs,
    people_with_pairs,
    worn_on,
)
from solespan.api.storage.planning.planning import plans_of
from solespan.api.storage.rack.records import find_record, list_records
from solespan.forecast.log import WearLog
from solespan.forecast.planning import state_of
from solespan.forecast.planning.verdict import URGENT

__all__ = [
    "MOST_PEOPLE",
    "OwnRack",
    "RackAsked",
    "RackPart",
    "RackSeen",
    "just_logged",
    "people_and_pairs",
    "rack_frames",
    "rack_seen",
]

LAST_DAYS = 56  # a pair not worn for longer counts as rested all the same
MOST_PEOPLE = 1000  # in a list to choose from; of more, the search finds the one


@dataclass(frozen=True)
class RackAsked:
    """Which pairs of the rack a browser asks for.

    `keep` tells by its words and identifier whether a pair is searched for; None = each is.
    `order` is `name`, `worn`, or empty: the soonest first.
    """

    size: int
    page: int = 1
    wearer_id: str = ""
    band: str = ""
    keep: Callable[[str | None, str], bool] | None = None
    order: str = ""


@dataclass(frozen=True)
class OwnRack:
    """What one wearer's panel of the day draws from: all of their pairs, and recent wears."""

    wearer_id: str
    pairs: pd.DataFrame
    forecast: pd.DataFrame
    wear_days: pd.DataFrame
    plan: dict[str, Any] | None
    reasons: list[dict[str, Any]]
    day: SaidOfDay
    code: str
    rubber: frozenset[str]


@dataclass(frozen=True)
class RackPart:
    """One page of the list: its pairs, its number, and how many pairs the list has by band."""

    rows: Sequence[Row[Any]]
    page: int
    pages: int
    bands: dict[str, int]


@dataclass(frozen=True)
class RackSeen:
    """What the rack page draws from.

    The frames are of the pairs on the page. `total` counts all pairs there are, and `people` are
    those who have any, more than `MOST_PEOPLE` cut off.
    """

    part: RackPart
    pairs: pd.DataFrame
    wearers: pd.DataFrame
    forecast: pd.DataFrame
    worn_today: set[str]
    total: int
    people: list[tuple[str, str | None]]
    today: pd.Timestamp
    own: OwnRack | None
    verdicts: dict[str, str]
    logged: dict[str, Any] | None


def rack_seen(
    ctx: AppContext, asked: RackAsked, logged: tuple[str, str], day_choice: str = ""
) -> RackSeen:
    """Read one page of the rack.

    `logged` is the pair and day of a wear that was logged just now, to change or undo. `day_choice`
    is the browser's cookie of what was said of today.
    """
    with ctx.database.reading() as session:
        one, zone = whose_page(session, asked.wearer_id)
        today = pd.Timestamp(ctx.clock.today(zone))
        part = _part(session, asked)
        own = _own_rack(session, one, today, part.rows, day_choice) if one else None
        whole = not (asked.wearer_id or asked.band or asked.keep)
        return RackSeen(
            part=part,
            **_frames(session, part.rows),
            worn_today=worn_on(session, [row.id for row in part.rows], today.date()),
            total=sum(part.bands.values()) if whole else count_pairs(session),
            people=people_with_pairs(session, MOST_PEOPLE + 1),
            today=today,
            own=own,
            verdicts=_verdicts(session, own, part.rows) if own else {},
            logged=_logged(session, *logged),
        )


def rack_frames(
    ctx: AppContext, asked: RackAsked, most: int
) -> tuple[dict[str, pd.DataFrame], pd.Timestamp]:
    """Read what the rack's figures need, of the first pairs of a page, and the day it is."""
    with ctx.database.reading() as session:
        _, zone = whose_page(session, asked.wearer_id)
        frames = _frames(session, _part(session, asked).rows[:most])
    return frames, pd.Timestamp(ctx.clock.today(zone))


def _part(session: Session, asked: RackAsked) -> RackPart:
    """Read one page of the list, and count the list.

    A search reads what each pair is called; without one, only the rows of the page are read.
    """
    chosen = RackFilter(asked.wearer_id, asked.band)
    found: list[Row[Any]] = []
    counts: dict[tuple[str, str], int] = {}
    if asked.keep is None:
        counts = count_bands(session, chosen)
        if not asked.band:
            every = count_pairs(session, asked.wearer_id)
            counts["pending", ""] = every - sum(counts.values())
    else:
        found = [
            row
            for row in _every(session, chosen, asked.order)
            if asked.keep(_words_of(row), row.pair_id)
        ]
        counts = Counter(("found", row.band or "") for row in found)
    total = sum(counts.values())
    pages = max(1, -(-total // asked.size))
    page = min(max(asked.page, 1), pages)
    first = (page - 1) * asked.size
    bands: Counter[str] = Counter()
    for (_, band), count in counts.items():
        bands[band] += count
    rows = found[first : first + asked.size]
    if asked.keep is None and asked.order:
        rows = list(ordered_pairs(session, chosen, asked.order, skip=first, most=asked.size))
    return RackPart(
        rows=rows or _rows(session, chosen, counts, first, asked.size),
        page=page,
        pages=pages,
        bands=dict(+bands),
    )


def _every(session: Session, chosen: RackFilter, order: str) -> list[Row[Any]]:
    if order:
        return list(ordered_pairs(session, chosen, order))
    places = PLACES if not chosen.band else PLACES[:-1]
    return [row for place in places for row in list_pairs(session, chosen, place)]


def _words_of(row: Row[Any]) -> str:
    """What a pair can be found by, beside its identifier."""
    words = (row.label, row.maker, row.last, row.colour, row.tags)
    return " ".join(word for word in words if word)


def _rows(
    session: Session,
    chosen: RackFilter,
    counts: Mapping[tuple[str, str], int],
    first: int,
    most: int,
) -> list[Row[Any]]:
    """Read the pairs of a page from the places in which they stand, one after the other."""
    rows: list[Row[Any]] = []
    for place in PLACES:
        here = sum(count for (its_place, _), count in counts.items() if its_place == place)
        if first < here and len(rows) < most:
            rows += list_pairs(session, chosen, place, skip=first, most=most - len(rows))
        first = max(0, first - here)
    return rows


def _frames(session: Session, rows: Sequence[Row[Any]]) -> dict[str, pd.DataFrame]:
    """Make the frames of the pairs on a page, with their forecasts at the ball."""
    names = {row.wearer_id: row.name for row in rows}
    columns = ["wearer_id", "photo_id", *LISTED]
    return {
        "pairs": pd.DataFrame(
            [tuple(getattr(row, name) for name in columns) for row in rows], columns=columns
        ),
        "wearers": pd.DataFrame(list(names.items()), columns=["wearer_id", "name"]),
        "forecast": ball_rows(session, [row.id for row in rows]),
    }


def _own_rack(
    session: Session, one: str, today: pd.Timestamp, rows: Sequence[Row[Any]], day_choice: str
) -> OwnRack:
    said = read_day_choice(day_choice, today.date())
    week = next((row.dress_week for row in rows if row.wearer_id == one), None)
    since = ("worn_on", (today - pd.Timedelta(days=LAST_DAYS)).date())
    pairs = listed(session, "pairs", wearer_id=one)
    photos = {row.pair_id: row.photo_id for row in rows}
    newest = plans_of(session, one, limit=1)
    plan = shown_plan(newest[0]) if newest else None
    covered = plan and any(day["worn_on"] == f"{today:%Y-%m-%d}" for day in plan["days"])
    return OwnRack(
        wearer_id=one,
        pairs=pairs.assign(photo_id=pairs["pair_id"].map(photos)),
        forecast=due_rows(session, one),
        wear_days=listed(session, "wear_days", since=since, wearer_id=one),
        plan=plan,
        reasons=reasons_on(newest[0], today.date()) if covered else [],
        day=said,
        code=code_of_week(week, today.date()) if said.code is None else said.code,
        rubber=_rubber_soled(session, one) if said.wet else frozenset(),
    )


def _verdicts(session: Session, own: OwnRack, rows: Sequence[Row[Any]]) -> dict[str, str]:
    """Say of the pairs that are due, and stand on the page, what is to be done with them."""
    on_page = {row.pair_id for row in rows if row.band in URGENT}
    states = {
        str(row["pair_id"]): state_of(row)
        for row in own.forecast.to_dict("records")
        if row["pair_id"] in on_page and (row["foot"], row["point"]) == ("pair", "ball")
    }
    if not states:
        return {}
    frames = {
        name: listed(session, name, wearer_id=own.wearer_id)
        for name in ("soles", "bench_jobs", "layers")
    }
    none = dict.fromkeys(("checks", "wearers", "wear_days"), own.wear_days.iloc[:0])
    amounts = WearLog(pairs=own.pairs, **frames, **none)
    log = replace(amounts, pairs=own.pairs[own.pairs["pair_id"].isin(states)])
    found = verdicts_on(session, own.wearer_id, log, amounts, states)
    return {pair_id: said.word for pair_id, said in found.items()}


def _rubber_soled(session: Session, wearer_id: str) -> frozenset[str]:
    soles = list_records(session, "soles", equal={"wearer_id": wearer_id}, limit=MOST_ROWS)
    on = [sole for sole in soles if sole["removed_on"] is None]
    return frozenset(str(sole["pair_id"]) for sole in on if "leather" not in sole["material"])


def just_logged(session: Session, pair_id: str, worn_on: str) -> dict[str, Any] | None:
    """Read a wear that was logged just now; None where it is not (or no more) there."""
    try:
        day = date.fromisoformat(worn_on)
    except ValueError:
        return None
    row = find_record(session, "wear_days", {"pair_id": pair_id, "worn_on": day})
    return None if row is None else row | {"worn_on": worn_on}


def _logged(session: Session, pair_id: str, worn_on: str) -> dict[str, Any] | None:
    row = just_logged(session, pair_id, worn_on)
    pair = None if row is None else find_record(session, "pairs", {"pair_id": pair_id})
    return None if row is None or pair is None else row | {"label": pair["label"] or pair_id}


def people_and_pairs(ctx: AppContext) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Read all pairs and wearers, for a search."""
    with ctx.database.reading() as session:
        return listed(session, "pairs"), listed(session, "wearers")
