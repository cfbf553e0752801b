"""Rack extras page service.

Which care, wears and dates with and without a plan do the pages beside the rack draw from?
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pandas as pd

from solespan.api.errors import SolespanError
from solespan.api.services.context import AppContext
from solespan.api.services.planning.habits import forecasts_if
from solespan.api.services.planning.rack import known_wearer
from solespan.api.services.rack.page_frames import whose_page
from solespan.api.storage.planning.planning import plans_of
from solespan.api.storage.rack import wear_counts
from solespan.api.storage.rack.records import list_records
from solespan.api.storage.rack.wear_counts import WearsBetween

__all__ = ["rotation_seen", "spread_values", "whose"]

MOST_WEARERS = 500
QUANTILES = ("p10", "p50", "p90")
DATES = [f"due_{q}_{when}" for q in QUANTILES for when in ("now", "then")]
CHOOSE, NO_PAIR = "Choose whose rack.", "There is no pair yet."
NO_PLAN = "There is no plan yet, so there is nothing to compare with."


def rotation_seen(
    ctx: AppContext,
    wearer_id: str,
    keep: Callable[[str | None, str], bool] | None,
    *,
    days: int,
    most: int,
) -> dict[str, Any]:
    """Return the arguments of `rotation`: the last days' wears of up to `most` pairs, and counts.

    `keep` tells by label and identifier which pairs are searched for; None = each is.
    """
    with ctx.database.reading() as session:
        _, zone = whose_page(session, wearer_id)
        today = ctx.clock.today(zone)
        wears = WearsBetween(today - timedelta(days=days - 1), today, wearer_id)
        if keep is not None:
            named = wear_counts.pair_names(session, wearer_id)
            found = [row.id for row in named if keep(row.label, row.pair_id)]
            wears = replace(wears, pair_pks=found)
        by_day = wear_counts.wears_by_day(session, wears)
        pairs = wear_counts.most_worn(session, wears, most)
        mine = replace(wears, pair_pks=[row.id for row in pairs])
        worn = wear_counts.wears_of(session, mine)
    wear_days = pd.DataFrame(worn, columns=["pair_id", "worn_on", "wet"])
    return {
        "wear_days": wear_days.astype({"worn_on": "datetime64[s]", "wet": bool}),
        "pairs": pd.DataFrame(
            [(row.pair_id, row.label) for row in pairs], columns=["pair_id", "label"]
        ),
        "today": pd.Timestamp(today),
        "by_day": {pd.Timestamp(day): count for day, count in by_day.items()},
        "pairs_worn": pairs[0].every if pairs else 0,
    }


def whose(ctx: AppContext, wearer_id: str) -> tuple[str, list[tuple[str, str]], str]:
    """Return whose rack is meant, everybody there is to choose from, and the wearer's time zone."""
    with ctx.database.reading() as session:
        every = list_records(session, "wearers", equal={}, limit=MOST_WEARERS)
        zones = {row["wearer_id"]: row["time_zone"] for row in every}
        if wearer_id and wearer_id not in zones:
            zones[wearer_id] = known_wearer(session, wearer_id)["time_zone"]
    wearers = [(row["wearer_id"], row["name"] or row["wearer_id"]) for row in every]
    wearer_id = wearer_id or (wearers[0][0] if len(wearers) == 1 else "")
    return wearer_id, wearers, zones.get(wearer_id, "UTC")


def spread_values(ctx: AppContext, wearer_id: str) -> dict[str, Any]:
    """Return the arguments of `spread_page`: the newest plan beside things as they are.

    Of the only wearer when none is named. Raises `NotFound`.
    """
    wearer_id, wearers, zone = whose(ctx, wearer_id)
    frame, missing, newest = None, CHOOSE if wearers else NO_PAIR, []
    if wearer_id:
        missing = NO_PLAN
        with ctx.database.reading() as session:
            newest = plans_of(session, wearer_id, limit=1)
    if newest:
        try:
            frame, missing = _compared(ctx, wearer_id, newest[0]["plan_id"]), ""
        except SolespanError as error:
            missing = error.what
    return {
        "what_if": frame,
        "today": pd.Timestamp(ctx.clock.today(zone)),
        "wearer_id": wearer_id,
        "wearers": wearers,
        "missing": missing,
        "horizon_days": ctx.settings.horizon_days,
    }


def _compared(ctx: AppContext, wearer_id: str, plan_id: str) -> pd.DataFrame:
    answer = forecasts_if(ctx, wearer_id, [], plan_id=plan_id)
    return _framed(answer["items"])


def _framed(items: list[dict[str, Any]]) -> pd.DataFrame:
    frame = pd.DataFrame(items, columns=["pair_id", "label", *DATES])
    frame["label"] = frame["label"].where(frame["label"].notna(), frame["pair_id"])
    for name in DATES:
        frame[name] = pd.to_datetime(frame[name]).astype("datetime64[s]")
    return frame
