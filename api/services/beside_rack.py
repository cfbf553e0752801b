"""Which care, wears and dates with and without a plan do the pages beside the rack draw from?"""

from __future__ import annotations

from typing import Any

import pandas as pd

from api.errors import SolespanError
from api.services.page_frames import listed, today_of
from api.services.planning.care import care_due
from api.services.planning.habits import forecasts_if
from api.services.planning.rack import known_wearer
from api.storage.planning import plans_of
from api.storage.records import list_records
from api.wiring import Services
from dashboards.figures import FIGURES
from dashboards.pages.care import PAIRS_SHOWN, care_by_pair
from dashboards.pages.rack import matching
from dashboards.pages.rotation import ROTATION_DAYS, rotation
from dashboards.pages.spread import spread_page
from dashboards.render import inline_figure

__all__ = ["care_context", "rotation_context", "spread_context", "whose"]

MOST_WEARERS = 500
QUANTILES = ("p10", "p50", "p90")
DATES = [f"due_{q}_{when}" for q in QUANTILES for when in ("now", "then")]
CHOOSE, NO_PAIR = "Choose whose rack.", "There is no pair yet."
NO_PLAN = "There is no plan yet, so there is nothing to compare with."


def care_context(serving: Services, wearer_id: str) -> dict[str, Any]:
    """Gather the care due on a wearer's rack, the only one's when none is named.

    Raises `NotFound`.
    """
    wearer_id, wearers, _ = whose(serving, wearer_id)
    items = care_due(serving, wearer_id)["items"] if wearer_id else []
    return {
        "wearer_id": wearer_id,
        "wearers": wearers,
        "care": care_by_pair(items),
        "shown": PAIRS_SHOWN,
    }


def rotation_context(serving: Services, wearer_id: str, search: str) -> dict[str, Any]:
    """Gather who was worn when in the last weeks: three statements."""
    with serving.database.reading() as session:
        pairs, wearers = listed(session, "pairs"), listed(session, "wearers")
        today = today_of(serving, wearers, wearer_id)
        since = today - pd.Timedelta(days=ROTATION_DAYS - 1)
        mine = {"wearer_id": wearer_id} if wearer_id else {}
        recent = listed(session, "wear_days", since=("worn_on", since.date()), **mine)
    wanted = matching(pairs, wearer_id, search)
    shown = pairs[pairs["pair_id"].isin(wanted)]
    return {"rotation": rotation(recent, shown, today=today), "wearer_id": wearer_id}


def whose(serving: Services, wearer_id: str) -> tuple[str, list[tuple[str, str]], str]:
    """Return whose rack is meant, everybody there is to choose from, and the wearer's time zone."""
    with serving.database.reading() as session:
        every = list_records(session, "wearers", equal={}, limit=MOST_WEARERS)
        zones = {row["wearer_id"]: row["time_zone"] for row in every}
        if wearer_id and wearer_id not in zones:
            zones[wearer_id] = known_wearer(session, wearer_id)["time_zone"]
    wearers = [(row["wearer_id"], row["name"] or row["wearer_id"]) for row in every]
    wearer_id = wearer_id or (wearers[0][0] if len(wearers) == 1 else "")
    return wearer_id, wearers, zones.get(wearer_id, "UTC")


def spread_context(serving: Services, wearer_id: str) -> dict[str, Any]:
    """Gather the comparison with the newest plan, and its figure, made at once.

    Of the only wearer when none is named. Raises `NotFound`.
    """
    wearer_id, wearers, zone = whose(serving, wearer_id)
    frame, missing, newest = None, CHOOSE if wearers else NO_PAIR, []
    if wearer_id:
        missing = NO_PLAN
        with serving.database.reading() as session:
            newest = plans_of(session, wearer_id, limit=1)
    today = pd.Timestamp(serving.clock.today(zone))
    if newest:
        try:
            frame, missing = _compared(serving, wearer_id, newest[0]["plan_id"]), ""
        except SolespanError as error:
            missing = error.what
    context = spread_page(
        frame,
        today=today,
        wearer_id=wearer_id,
        missing=missing,
        horizon_days=serving.settings.horizon_days,
    )
    drawn = None if frame is None else FIGURES["due_spread"].draw(frame, today=today)
    return context | {
        "wearers": wearers,
        "figure_json": "" if drawn is None else inline_figure(drawn),
    }


def _compared(serving: Services, wearer_id: str, plan_id: str) -> pd.DataFrame:
    answer = forecasts_if(serving, wearer_id, [], plan_id=plan_id)
    return _framed(answer["items"])


def _framed(items: list[dict[str, Any]]) -> pd.DataFrame:
    frame = pd.DataFrame(items, columns=["pair_id", "label", *DATES])
    frame["label"] = frame["label"].where(frame["label"].notna(), frame["pair_id"])
    for name in DATES:
        frame[name] = pd.to_datetime(frame[name]).astype("datetime64[s]")
    return frame
