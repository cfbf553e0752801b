"""Year look back service: when are a shop's past years forecast, to see how that would have done?

It takes up to three fits, so it is made in the background in a quiet round, at most monthly. Shops
of very many pairs do without it: their own counts are sure enough.
"""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
import structlog

from solespan.api.storage.bench.workload import load_outcomes
from solespan.api.storage.bench.year_looks import keep_looks, kept_looks
from solespan.api.storage.rack.frames import load_wear_log
from solespan.api.storage.session import Database
from solespan.forecast.backtesting.year_look_back import look_back
from solespan.forecast.panel.wearer_parts import Runner
from solespan.forecast.workload import WorkloadSettings

__all__ = ["look_back_on_years", "looks_are_due"]

log = structlog.get_logger("solespan.year_looks")

EVERY_DAYS = 30
MOST_PAIRS = 20_000
YEARS = 300  # simulated


def looks_are_due(database: Database, today: date) -> bool:
    """Whether there is no look back, or a month has passed since."""
    with database.reading() as session:
        found = kept_looks(session)
    return found is None or (today - found[0]).days >= EVERY_DAYS


def look_back_on_years(database: Database, today: date, runner: Runner | None = None) -> int:
    """Forecast past years and keep what was found; return how many years."""
    as_of = pd.Timestamp(today)
    with database.reading() as session:
        known = load_wear_log(session).until(as_of)
        outcomes = load_outcomes(session)
    looks, habits = [], None
    if len(known.pairs) <= MOST_PAIRS:
        settings = WorkloadSettings(years=YEARS, listed_years=0)
        seen = look_back(known, as_of, outcomes, settings, runner=runner)
        habits = seen.habits.to_dict()
        found = seen.years.assign(as_of=[day.date().isoformat() for day in seen.years["as_of"]])
        told = found.astype(object).where(found.notna(), None)
        looks = [
            {
                str(name): round(float(v), 2) if isinstance(v, (float, np.floating)) else v
                for name, v in row.items()
            }
            for row in told.to_dict("records")
        ]
    with database.writing() as session:
        keep_looks(session, today, looks, habits)
    log.info("years_looked_back_on", years=len(looks))
    return len(looks)
