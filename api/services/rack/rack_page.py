"""Rack page service.

Which frames do the rack page and its figures draw from, in a bounded number of statements?
"""

from __future__ import annotations

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
from solespan.dashboards.order import label_of
from solespan.dashboards.pages.rack.rack import (
    MOST_DRAWN,
    MOST_SHOWN,
    matching,
    rack_page,
    who_is_meant,
)
from solespan.dashboards.pages.rack.today import today_panel

__all__ = ["find_on_rack", "just_logged", "rack_context", "rack_frames"]

LAST_DAYS = 56  # a pair not worn for longer counts as rested all the same


def rack_context(
    ctx: AppContext,
    wearer_id: str,
    band: str,
    search: str = "",
    logged: tuple[str, str] = ("", ""),
) -> dict[str, Any]:
    """Gather the rack page: a fixed number of statements, however many pairs there are.

    `logged` is the pair and day of a wear that was logged just now, to change or undo.
    """
    with ctx.database.reading() as session:
        pairs, wearers = listed(session, "pairs"), listed(session, "wearers")
        today = today_of(ctx, wearers, wearer_id)
        every = due_rows(session)
        feet = _with_feet(session, _first_shown(every, pairs, wearer_id, band, search), pairs)
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
    forecast = pd.concat([every, feet[feet["foot"] != "pair"]], ignore_index=True)
    worn = set(recent.loc[recent["worn_on"] == today, "pair_id"])
    page = rack_page(
        forecast,
        pairs,
        wearers,
        today=today,
        wearer_id=wearer_id,
        band=band,
        search=search,
        worn_today=worn,
        horizon_days=ctx.settings.horizon_days,
    )
    return page | {
        "one": one,
        "today": _panel(every, pairs, recent, one, newest, today) if one else None,
        "logged": None if just is None else just | {"label": label_of(pairs)[logged[0]]},
        "today_iso": f"{today:%Y-%m-%d}",
    }


def find_on_rack(ctx: AppContext, search: str) -> tuple[dict[str, str] | None, str]:
    """Tell whom and what a search is for; see `dashboards.pages.rack.rack.who_is_meant`."""
    with ctx.database.reading() as session:
        pairs, wearers = listed(session, "pairs"), listed(session, "wearers")
    return who_is_meant(pairs, wearers, search)


def _panel(
    forecast: pd.DataFrame,
    pairs: pd.DataFrame,
    recent: pd.DataFrame,
    wearer_id: str,
    newest: list[dict[str, Any]],
    today: pd.Timestamp,
) -> dict[str, Any]:
    mine = pairs[pairs["wearer_id"] == wearer_id]
    plan = shown_plan(newest[0]) if newest else None
    reasons: list[dict[str, Any]] = []
    if plan and any(day["worn_on"] == f"{today:%Y-%m-%d}" for day in plan["days"]):
        reasons = reasons_on(newest[0], today.date())
    return today_panel(
        forecast[forecast["pair_id"].isin(mine["pair_id"])],
        mine,
        recent[recent["pair_id"].isin(mine["pair_id"])],
        today=today,
        plan=plan,
        reasons=reasons,
    )


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


def _first_shown(
    every: pd.DataFrame,
    pairs: pd.DataFrame,
    wearer_id: str,
    band: str,
    search: str,
) -> pd.DataFrame:
    """Take the resole rows that the page shows first: only their feet are read."""
    wanted = matching(pairs, wearer_id, search)
    mine = every[every["pair_id"].isin(wanted)]
    if band:
        mine = mine[mine["band"] == band]
    return mine.head(MOST_SHOWN)


def rack_frames(
    ctx: AppContext, wearer_id: str, band: str, search: str = ""
) -> tuple[dict[str, pd.DataFrame], pd.Timestamp]:
    """Gather what the rack's figures need, of the pairs drawn, and the day it is."""
    with ctx.database.reading() as session:
        pairs, wearers = listed(session, "pairs"), listed(session, "wearers")
        rows = due_rows(session)
        shown = _first_shown(rows, pairs, wearer_id, band, search).head(MOST_DRAWN)
        forecast = _with_feet(session, shown, pairs)
    return {"forecast": forecast, "pairs": pairs}, today_of(ctx, wearers, wearer_id)


def _with_feet(session: Session, rows: pd.DataFrame, pairs: pd.DataFrame) -> pd.DataFrame:
    """Read every row of the pairs in `rows`, feet included."""
    if rows.empty:
        return rows
    owners = pairs.loc[pairs["pair_id"].isin(rows["pair_id"]), "wearer_id"].unique()
    stored = load_forecasts(session, list(owners))
    return stored[stored["pair_id"].isin(rows["pair_id"])].reset_index(drop=True)
