"""Rack page service.

Which frames do the rack page and its figures draw from, in a bounded number of statements?
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import Any

import pandas as pd
from sqlalchemy.orm import Session

from solespan.api.services.context import AppContext
from solespan.api.services.planning.plans import reasons_on, shown_plan
from solespan.api.services.rack.page_frames import due_rows, listed, today_of
from solespan.api.storage.forecasts.forecasts import load_forecasts
from solespan.api.storage.planning.planning import plans_of
from solespan.api.storage.rack.records import find_record

__all__ = ["RackSeen", "just_logged", "people_and_pairs", "rack_frames", "rack_seen"]

LAST_DAYS = 56  # a pair not worn for longer counts as rested all the same


Pick = Callable[[pd.DataFrame, pd.DataFrame], pd.DataFrame]


@dataclass(frozen=True)
class RackSeen:
    """What the rack page draws from; `one` is the only wearer, with `recent` wears and a plan.

    `every` holds the resole row of each pair, `feet` all rows of the pairs that are shown.
    """

    pairs: pd.DataFrame
    wearers: pd.DataFrame
    every: pd.DataFrame
    feet: pd.DataFrame
    recent: pd.DataFrame
    one: str
    today: pd.Timestamp
    plan: dict[str, Any] | None
    reasons: list[dict[str, Any]]
    logged: dict[str, Any] | None


def rack_seen(ctx: AppContext, wearer_id: str, shown: Pick, logged: tuple[str, str]) -> RackSeen:
    """Read the rack in a fixed number of statements, however many pairs there are.

    `shown` picks from resole rows and pairs the rows whose feet are read. `logged` is the pair and
    day of a wear that was logged just now, to change or undo.
    """
    with ctx.database.reading() as session:
        pairs, wearers = listed(session, "pairs"), listed(session, "wearers")
        today = today_of(ctx, wearers, wearer_id)
        every = due_rows(session)
        feet = _with_feet(session, shown(every, pairs), pairs)
        one = _one_wearer(wearers, wearer_id)
        since = today - pd.Timedelta(days=LAST_DAYS if one else 0)
        recent = listed(
            session,
            "wear_days",
            since=("worn_on", since.date()),
            **({"wearer_id": one} if one else {}),
        )
        newest = plans_of(session, one, limit=1) if one else []
        just = just_logged(session, *logged)
    plan = shown_plan(newest[0]) if newest else None
    covered = plan and any(day["worn_on"] == f"{today:%Y-%m-%d}" for day in plan["days"])
    reasons = reasons_on(newest[0], today.date()) if covered else []
    return RackSeen(pairs, wearers, every, feet, recent, one, today, plan, reasons, just)


def people_and_pairs(ctx: AppContext) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Read all pairs and wearers, for a search."""
    with ctx.database.reading() as session:
        return listed(session, "pairs"), listed(session, "wearers")


def _one_wearer(wearers: pd.DataFrame, wearer_id: str) -> str:
    """Return whose page this is: the one chosen, or the only one there is; else nobody's."""
    known = [str(known_id) for known_id in wearers["wearer_id"]]
    if wearer_id:
        return wearer_id if wearer_id in known else ""
    return known[0] if len(known) == 1 else ""


def just_logged(session: Session, pair_id: str, worn_on: str) -> dict[str, Any] | None:
    """Read a wear that was logged just now; None where it is not (or no more) there."""
    try:
        day = date.fromisoformat(worn_on)
    except ValueError:
        return None
    row = find_record(session, "wear_days", {"pair_id": pair_id, "worn_on": day})
    return None if row is None else row | {"worn_on": worn_on}


def rack_frames(
    ctx: AppContext, wearer_id: str, shown: Pick
) -> tuple[dict[str, pd.DataFrame], pd.Timestamp]:
    """Read what the rack's figures need, of the pairs that `shown` picks, and the day it is."""
    with ctx.database.reading() as session:
        pairs, wearers = listed(session, "pairs"), listed(session, "wearers")
        rows = due_rows(session)
        forecast = _with_feet(session, shown(rows, pairs), pairs)
    return {"forecast": forecast, "pairs": pairs}, today_of(ctx, wearers, wearer_id)


def _with_feet(session: Session, rows: pd.DataFrame, pairs: pd.DataFrame) -> pd.DataFrame:
    """Read every row of the pairs in `rows`, feet included."""
    if rows.empty:
        return rows
    owners = pairs.loc[pairs["pair_id"].isin(rows["pair_id"]), "wearer_id"].unique()
    stored = load_forecasts(session, list(owners))
    return stored[stored["pair_id"].isin(rows["pair_id"])].reset_index(drop=True)
