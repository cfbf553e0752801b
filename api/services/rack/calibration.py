"""Calibration service: how does one thumb grade beside a known thickness teach an owner's thumb?

A calibration is two checks of one spot on one day: what the thumb felt, and what a gauge read. A
new sole needs no gauge, as its thickness when new is known. Nothing else is stored.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import date, timedelta

import pandas as pd
from sqlalchemy.orm import Session

from solespan.api.schemas.forms import FormProblem, Typed, Values
from solespan.api.services.context import AppContext
from solespan.api.services.interchange.plausibility import FRESH_DAYS
from solespan.api.services.rack.log_forms import log_records, read_reading, read_thumb
from solespan.api.services.unknown_id import unknown_id
from solespan.api.storage.forecasts.forecast_reads import wearer_of_pair
from solespan.api.storage.rack.frames import trusted_log
from solespan.api.storage.rack.records import list_records
from solespan.forecast.errors import ForecastError
from solespan.forecast.explaining.thumb_cuts import cuts_of_pair
from solespan.forecast.frames import FEET

__all__ = ["Calibration", "calibrate", "read_pressed", "thumb_of"]

MOST_SOLES = 100


@dataclass(frozen=True)
class Calibration:
    """What was logged, and the owner's cut points before and now; None without a forecast."""

    new: bool
    needs_fit: bool
    checks: list[Values]
    before: dict[str, float] | None
    now: dict[str, float] | None


def read_pressed(pair_id: str, typed: Typed) -> list[Values]:
    """Read a thumb check, and the thickness of the balls where a gauge read it.

    Raises `FormProblem`.
    """
    every = read_thumb(pair_id, typed)
    read = [foot for foot in FEET if typed.get(foot, "").strip()]
    unfelt = [foot for foot in read if typed.get(f"{foot}-ball", "") in ("", "skip")]
    if unfelt:
        words = "press this ball too, so that grade and thickness can be compared"
        raise FormProblem({f"{foot}-ball": words for foot in unfelt})
    return every + (read_reading(pair_id, {**typed, "point": "ball"}) if read else [])


def calibrate(
    ctx: AppContext, session: Session, pair_id: str, typed: Typed, *, replacing: bool = False
) -> Calibration:
    """Log a grade beside a thickness in the caller's transaction.

    Fields of the form: `left-ball`, `right-ball` (grades), `left`, `right` (thickness), `method`,
    `unit`, `checked_on`, and `sure` where an odd answer is meant. Raises `FormProblem` where
    something is wrong, or is asked about; then the transaction must not be kept.
    """
    every = read_pressed(pair_id, typed)
    if not any(typed.get(foot, "").strip() for foot in FEET):
        _ask_for_thickness(session, pair_id, every)
    before = thumb_of(ctx, session, pair_id)
    done = log_records(ctx, session, "checks", every, replacing=replacing, typed=typed)
    now = thumb_of(ctx, session, pair_id)
    return Calibration(done["new"], done["needs_fit"], every, before, now)


def _ask_for_thickness(session: Session, pair_id: str, every: list[Values]) -> None:
    """Ask for a thickness, unless the sole that was pressed is new."""
    soles = list_records(session, "soles", equal={"pair_id": pair_id}, limit=MOST_SOLES)
    for one in every:
        day: date = one["checked_on"]
        ages = [day - sole["fitted_on"] for sole in soles if sole["fitted_on"] <= day]
        if not ages or min(ages) > timedelta(days=FRESH_DAYS):
            raise FormProblem(
                {
                    str(one["foot"]): "give the thickness that a gauge reads here, or press a sole "
                    f"fitted at most {FRESH_DAYS} days before"
                }
            )


def thumb_of(ctx: AppContext, session: Session, pair_id: str) -> dict[str, float] | None:
    """Return the cut points of a pair's owner, mm; None where nothing is forecast yet.

    The log of the caller's transaction is read, so nothing is kept in memory.
    """
    whose = wearer_of_pair(session, pair_id)
    if whose is None:
        raise unknown_id(session, "pairs", "pair_id", pair_id)
    stored = ctx.forecaster.newest_fit(session)
    if stored is None:
        return None
    today = pd.Timestamp(ctx.clock.today(whose["time_zone"]))
    try:
        log = trusted_log(session, [whose["wearer_id"]])
        found = cuts_of_pair(stored.fit, log, pair_id, today)
    except ForecastError:
        return None
    return {name: round(value, 3) for name, value in asdict(found).items()}
