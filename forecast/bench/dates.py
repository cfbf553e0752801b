"""Bench dates.

By when should each pair be booked, when would it be back, and when is its owner asked?

The simulated bench answers for each week. A pair is back as pairs are that are handed over in its
week. It is booked by the last day on which a place asked for is free in time.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np
import pandas as pd

from solespan.forecast.bench.year_ahead import BenchYears
from solespan.forecast.settings import ForecastSettings

__all__ = ["back_on", "bench_dates"]


def bench_dates(
    send_by: pd.DataFrame,
    bench: BenchYears,
    ask_on: pd.Series,
    as_of: pd.Timestamp,
) -> pd.DataFrame:
    """Turn lead times into dates.

    Parameters
    ----------
    send_by : DataFrame
        `pair_id` and `send_by` of the pairs' resole rows; rows without a date are left out.
    bench : BenchYears
        The simulated bench.
    ask_on : Series of datetime64
        Day on which each pair's owner is asked to hand over, by pair_id; missing = not planned.
    as_of : Timestamp
        Days before it are counted as it.

    Returns
    -------
    DataFrame
        `pair_id`, `send_by`, `ask_on`, `book_by` (the last day to ask for a place, as forecasts
        have it: `forecast.settings.ForecastSettings.book_by`), `back_on_p10`, `back_on_p50`,
        `back_on_p90`. Hand-over is on `ask_on`, or on `send_by` where nothing is planned.
    """
    rows = send_by.dropna(subset=["send_by"]).reset_index(drop=True)
    asked = pd.to_datetime(rows["pair_id"].map(ask_on.to_dict())).astype("datetime64[s]")
    day = asked.fillna(rows["send_by"])
    day = day.where(day >= as_of, as_of.as_unit("s"))
    lead_times = bench.lead_times()
    weeks = lead_times["week_begins_on"].to_numpy()
    out = pd.DataFrame({"pair_id": rows["pair_id"], "send_by": rows["send_by"], "ask_on": asked})
    if not len(weeks):
        never = pd.Series(pd.NaT, index=out.index)
        return out.assign(
            book_by=rows["send_by"], back_on_p10=never, back_on_p50=never, back_on_p90=never
        )
    # after the last week simulated the last one's answers stand
    place = np.clip(np.searchsorted(weeks, day.to_numpy(), side="right") - 1, 0, len(weeks) - 1)

    def shifted(column: str) -> pd.Series:
        days = np.ceil(lead_times[column].to_numpy(float)[place])
        return pd.Series(day + pd.to_timedelta(days, unit="D")).astype("datetime64[s]")

    waits = ForecastSettings(bench_waits=bench.booking_waits())
    out["book_by"] = waits.book_by(rows["send_by"].to_numpy("datetime64[s]"))
    for name in ("p10", "p50", "p90"):
        out[f"back_on_{name}"] = shifted(f"lead_days_{name}")
    return out


def back_on(leads: Sequence[tuple[date, float]], handed_over_on: date) -> date | None:
    """Day by which a pair is back, or None without weeks or when all of them are past.

    Parameters
    ----------
    leads : sequence of (date, float)
        Mondays, and the days from hand-over in each week until a pair is back. Before the first
        week its days stand.
    handed_over_on : date
    """
    if not leads or handed_over_on >= leads[-1][0] + timedelta(days=7):
        return None
    known = [days for week, days in leads if week <= handed_over_on]
    return handed_over_on + timedelta(days=math.ceil(known[-1] if known else leads[0][1]))
