"""Books of a shop: the tables of the interchange, without a single wear day."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
import pandas as pd

from solespan.forecast.frames import TABLES
from solespan.synthetic_data.logbook import (
    Names,
    job_table,
    layer_table,
    pair_table,
    sole_table,
    table,
    wearer_table,
)
from solespan.synthetic_data.names import pair_labels, wearer_names
from solespan.synthetic_data.pairs import Ints, Pairs, Wearers
from solespan.synthetic_data.resoling import Sole
from solespan.synthetic_data.shop.customers import NEVER, CustomerTruth
from solespan.synthetic_data.shop.lives import PairLife, SoleLife
from solespan.synthetic_data.sim_calendar import Calendar

__all__ = ["Kept", "books", "kept_soles", "taken"]

LEAST_STATED_DAYS = 60
DAYS_PER_MONTH = 30.4


@dataclass(frozen=True)
class Kept:
    """One sole in the books: as it truly was, and as it is written down."""

    pair: int
    life: SoleLife
    written: Sole
    of_shop: bool


def taken(frame: Any, rows: Ints) -> Any:
    """The same dataclass of arrays, some rows of it."""
    return replace(frame, **{f.name: getattr(frame, f.name)[rows] for f in fields(frame)})


def kept_soles(
    habits: CustomerTruth, pair: int, life: PairLife, stated: bool, rng: np.random.Generator
) -> list[Kept]:
    """The soles of one pair that the books hold, also those yet to come.

    A sole that the shop did not fit is held only where its owner states when it was: with an error,
    by month.
    """
    error = rng.normal(0.0, habits.sd_stated)
    kept: list[Kept] = []
    for one in life.lives:
        fitted = one.sole.fitted_day
        ours = fitted >= life.known_day
        if not ours and not (stated and one.handed_day == life.known_day):
            continue
        if not ours:
            age = max((life.known_day - fitted) * np.exp(error), LEAST_STATED_DAYS)
            months = max(round(age / DAYS_PER_MONTH), 2)
            fitted = life.known_day - round(months * DAYS_PER_MONTH)
        written = replace(one.sole, pair=pair, number=len(kept) + 1, fitted_day=fitted)
        kept.append(Kept(pair, one, written, ours))
    return kept


def books(
    wearers: Wearers,
    pairs: Pairs,
    known_day: Ints,
    lives: list[PairLife],
    kept: list[Kept],
    checks: pd.DataFrame,
    calendar: Calendar,
    rng: np.random.Generator,
) -> dict[str, pd.DataFrame]:
    """The six tables up to the log's end."""
    naming, writing = rng.spawn(2)
    names = Names(
        wearer_names(len(wearers), naming), pair_labels(pairs.dress_code, pairs.wearer, naming)
    )
    sold = known_day == pairs.first_day
    acquired = replace(pairs, first_day=np.where(sold, pairs.first_day, -1))
    jobs = [
        replace(one.job, pair=pair)
        for pair, life in enumerate(lives)
        for one in life.lives
        if one.job is not None and life.known_day <= one.job.received_day < NEVER
    ]
    jobs.sort(key=lambda job: (job.received_day, job.pair))
    of_pairs = pair_table(acquired, names, calendar, writing)
    of_pairs["earlier_resoles"] = np.where(sold, 0.0, np.nan)
    nothing: dict[str, object] = {
        c.name: pd.Series([], dtype=_dtype(c.kind)) for c in TABLES["wear_days"].stored
    }
    return {
        "wearers": wearer_table(wearers, names, writing),
        "pairs": of_pairs,
        "soles": sole_table([k.written for k in kept], calendar, writing),
        "wear_days": table("wear_days", nothing),
        "checks": checks,
        "bench_jobs": job_table(jobs, calendar),
        "layers": layer_table(of_pairs),
    }


def _dtype(kind: str) -> str:
    return {"date": "datetime64[s]", "number": "float64", "integer": "float64", "flag": "bool"}.get(
        kind, "object"
    )
