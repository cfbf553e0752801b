"""Page service: which plan, care and cost does the planning page draw from?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd
from sqlalchemy.orm import Session

from solespan.api.schemas.forms import Typed
from solespan.api.services.context import AppContext
from solespan.api.services.planning.care import care_to_do
from solespan.api.services.planning.plan_form import (
    AIM_LABELS,
    MONTHS,
    PREFERENCES,
    WEEKDAYS,
    ends_of,
    first_values,
    occasion_rows,
)
from solespan.api.services.planning.plans import shown_plan
from solespan.api.services.planning.rack import KnownRack, known_rack, known_wearer
from solespan.api.storage.forecasts.forecasts import load_forecasts
from solespan.api.storage.planning.planning import newest_asked, plans_of
from solespan.api.storage.rack.pair_extras import pictures_of
from solespan.api.storage.rack.records import list_records
from solespan.forecast.frames import DRESS_CODES, PAIRS

__all__ = ["pairs_to_choose", "plan_values"]

MOST_WEARERS = 500
MOST_PAIRS = 500
MOST_SOLES = 5000


def plan_values(ctx: AppContext, wearer_id: str, typed: Typed) -> dict[str, Any]:
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
                "pairs": pair_pictures(session, []),
                "wearers": [],
            }
            more = {"choices": [], "waits": False, "refused": ""}
            return nothing | {"today": _day(ctx, "UTC"), "wearer_id": "", "more": more}
        zone = known_wearer(session, wearer_id)["time_zone"]
        newest = plans_of(session, wearer_id, limit=1)
        pairs = list_records(session, "pairs", equal={"wearer_id": wearer_id}, limit=MOST_PAIRS)
        choices = pairs_to_choose(session, wearer_id, pairs)
        rack = known_rack(ctx, session, wearer_id)
        forecast = load_forecasts(session, [wearer_id])
        care = care_to_do(session, rack, forecast)
        asked = newest_asked(session, wearer_id)
        pictured = pair_pictures(session, pairs)
    question = newest[0]["question"] if newest else None
    return {
        "plan": shown_plan(newest[0]) if newest else None,
        "care": care,
        "pairs": pictured,
        "today": _day(ctx, zone),
        "wearer_id": wearer_id,
        "wearers": wearers,
        "more": {
            "choices": choices,
            "wished": first_values(question),
            "occasions": occasion_rows(question, typed, rack.today),
            "aims": tuple(AIM_LABELS.items()),
            "pairs": [_preference(rack, pair_id, name) for pair_id, name in choices],
            "preferences": PREFERENCES,
            "months": MONTHS,
            "waits": asked is not None and asked["state"] == "asked",
            "refused": (asked or {}).get("answer", {}).get("problem", ""),
            "weekdays": WEEKDAYS,
            "codes": DRESS_CODES,
        },
    }


def _preference(rack: KnownRack, pair_id: str, name: str) -> dict[str, str]:
    """What the form shows of one pair: preference, first and last month."""
    first, last = ends_of(rack.trait(pair_id, "months"))
    weight = f"{rack.trait(pair_id, 'weight'):g}"
    return {"pair_id": pair_id, "name": name, "weight": weight, "from": first, "until": last}


def pair_pictures(session: Session, pairs: Sequence[Mapping[str, Any]]) -> pd.DataFrame:
    """Return what the pictures of some pairs are drawn from, photographs named."""
    frame = pd.DataFrame(list(pairs), columns=[c.name for c in PAIRS.columns])
    photos = pictures_of(session, list(frame["pair_id"]))
    return frame.assign(photo_id=frame["pair_id"].map(photos))


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
