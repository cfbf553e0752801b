"""Page service: which plan, care and cost does the planning page draw from?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd
from sqlalchemy.orm import Session

from solespan.api.errors import NothingForecast
from solespan.api.services.context import AppContext
from solespan.api.services.planning.care import care_of_rack
from solespan.api.services.planning.cost_of_ownership import life_of_known
from solespan.api.services.planning.plan_form import WEEKDAYS, first_values
from solespan.api.services.planning.plans import shown_plan
from solespan.api.services.planning.rack import known_rack, known_wearer
from solespan.api.storage.forecasts.forecasts import load_forecasts
from solespan.api.storage.planning.planning import plans_of
from solespan.api.storage.rack.records import list_records
from solespan.forecast.frames import DRESS_CODES

__all__ = ["pairs_to_choose", "plan_values"]

MOST_WEARERS = 500
MOST_PAIRS = 500
MOST_SOLES = 5000


def plan_values(ctx: AppContext, wearer_id: str) -> dict[str, Any]:
    """Return the arguments of `plan_page`, and under `more` what the form offers.

    Of the first wearer when none is named. Raises `NotFound`.
    """
    with ctx.database.reading() as session:
        every = list_records(session, "wearers", equal={}, limit=MOST_WEARERS)
        wearers = [(row["wearer_id"], row["name"] or row["wearer_id"]) for row in every]
        if not wearer_id and wearers:
            wearer_id = wearers[0][0]
        if not wearer_id:
            nothing: dict[str, Any] = {
                "plan": None,
                "care": [],
                "life": None,
                "names": {},
                "wearers": [],
            }
            return nothing | {"today": _day(ctx, "UTC"), "wearer_id": "", "more": {"choices": []}}
        zone = known_wearer(session, wearer_id)["time_zone"]
        newest = plans_of(session, wearer_id, limit=1)
        pairs = list_records(session, "pairs", equal={"wearer_id": wearer_id}, limit=MOST_PAIRS)
        choices = pairs_to_choose(session, wearer_id, pairs)
        rack = known_rack(ctx, session, wearer_id)
        forecast = load_forecasts(session, [wearer_id])
        care = care_of_rack(session, rack, forecast)["items"]
        try:
            life: dict[str, Any] | None = life_of_known(rack, forecast)
        except NothingForecast:
            life = None
    names = {row["pair_id"]: row["label"] or row["pair_id"] for row in pairs}
    return {
        "plan": shown_plan(newest[0]) if newest else None,
        "care": care,
        "life": life,
        "names": names,
        "today": _day(ctx, zone),
        "wearer_id": wearer_id,
        "wearers": wearers,
        "more": {
            "choices": choices,
            "wished": first_values(newest[0]["question"] if newest else None),
            "weekdays": WEEKDAYS,
            "codes": DRESS_CODES,
        },
    }


def pairs_to_choose(
    session: Session, wearer_id: str, pairs: Sequence[Mapping[str, Any]]
) -> list[tuple[str, str]]:
    """Return the pairs with a sole on, each with its name, by name: a retired one is no choice."""
    soles = list_records(session, "soles", equal={"wearer_id": wearer_id}, limit=MOST_SOLES)
    worn = {row["pair_id"] for row in soles if row["removed_on"] is None}
    named = [(row["pair_id"], row["label"] or row["pair_id"]) for row in pairs]
    return sorted(
        (one for one in named if one[0] in worn), key=lambda item: (item[1].casefold(), item[0])
    )


def _day(ctx: AppContext, zone: str) -> pd.Timestamp:
    return pd.Timestamp(ctx.clock.today(zone))
