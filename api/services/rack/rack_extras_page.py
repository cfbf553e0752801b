"""Rack extras page service.

Which care, wears and dates with and without a plan do the pages beside the rack draw from?
"""

from __future__ import annotations

from typing import Any

import pandas as pd

from solespan.api.errors import SolespanError
from solespan.api.services.context import AppContext
from solespan.api.services.planning.care import care_due
from solespan.api.services.planning.habits import forecasts_if
from solespan.api.services.planning.rack import known_wearer
from solespan.api.services.rack.page_frames import listed, today_of
from solespan.api.storage.planning.planning import plans_of
from solespan.api.storage.rack.records import list_records
from solespan.dashboards.figures import FIGURES
from solespan.dashboards.pages.forecasts.spread import spread_page
from solespan.dashboards.pages.planning.care import PAIRS_SHOWN, care_by_pair
from solespan.dashboards.pages.planning.rotation import ROTATION_DAYS, rotation
from solespan.dashboards.pages.rack.rack import matching
from solespan.dashboards.render import inline_figure

__all__ = ["care_context", "rotation_context", "spread_context", "whose"]

MOST_WEARERS = 500
QUANTILES = ("p10", "p50", "p90")
DATES = [f"due_{q}_{when}" for q in QUANTILES for when in ("now", "then")]
CHOOSE, NO_PAIR = "Choose whose rack.", "There is no pair yet."
NO_PLAN = "There is no plan yet, so there is nothing to compare with."


def care_context(ctx: AppContext, wearer_id: str) -> dict[str, Any]:
    """Gather the care due on a wearer's rack, the only one's when none is named.

    Raises `NotFound`.
    """
    wearer_id, wearers, _ = whose(ctx, wearer_id)
    items = care_due(ctx, wearer_id)["items"] if wearer_id else []
    return {
        "wearer_id": wearer_id,
        "wearers": wearers,
        "care": care_by_pair(items),
        "shown": PAIRS_SHOWN,
    }


def rotation_context(ctx: AppContext, wearer_id: str, search: str) -> dict[str, Any]:
    """Gather who was worn when in the last weeks: three statements."""
    with ctx.database.reading() as session:
        pairs, wearers = listed(session, "pairs"), listed(session, "wearers")
        today = today_of(ctx, wearers, wearer_id)
        since = today - pd.Timedelta(days=ROTATION_DAYS - 1)
        mine = {"wearer_id": wearer_id} if wearer_id else {}
        recent = listed(session, "wear_days", since=("worn_on", since.date()), **mine)
    wanted = matching(pairs, wearer_id, search)
    shown = pairs[pairs["pair_id"].isin(wanted)]
    return {"rotation": rotation(recent, shown, today=today), "wearer_id": wearer_id}


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


def spread_context(ctx: AppContext, wearer_id: str) -> dict[str, Any]:
    """Gather the comparison with the newest plan, and its figure, made at once.

    Of the only wearer when none is named. Raises `NotFound`.
    """
    wearer_id, wearers, zone = whose(ctx, wearer_id)
    frame, missing, newest = None, CHOOSE if wearers else NO_PAIR, []
    if wearer_id:
        missing = NO_PLAN
        with ctx.database.reading() as session:
            newest = plans_of(session, wearer_id, limit=1)
    today = pd.Timestamp(ctx.clock.today(zone))
    if newest:
        try:
            frame, missing = _compared(ctx, wearer_id, newest[0]["plan_id"]), ""
        except SolespanError as error:
            missing = error.what
    context = spread_page(
        frame,
        today=today,
        wearer_id=wearer_id,
        missing=missing,
        horizon_days=ctx.settings.horizon_days,
    )
    drawn = None if frame is None else FIGURES["due_spread"].draw(frame, today=today)
    return context | {
        "wearers": wearers,
        "figure_json": "" if drawn is None else inline_figure(drawn),
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
