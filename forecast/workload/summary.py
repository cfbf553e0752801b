"""Workload summary.

What do the simulated years say of each week and month: jobs, hours, revenue?
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from solespan.forecast.errors import BadFrame
from solespan.forecast.frames import WORKS
from solespan.forecast.workload.jobs import SimulatedYears

__all__ = ["MEASURES", "QUANTILES", "WorkTimes", "measures", "summarise"]

MEASURES = ("jobs", "bench_hours", "revenue_minor")
QUANTILES: dict[str, float] = {
    "p025": 0.025,
    "p10": 0.10,
    "p25": 0.25,
    "p50": 0.50,
    "p75": 0.75,
    "p90": 0.90,
    "p975": 0.975,
}


@dataclass(frozen=True)
class WorkTimes:
    """Hands-on minutes and price of each kind of work, arrays in the order of `frames.WORKS`.

    minutes, sd_minutes : mean and SD of one job's minutes.
    log_sd_of_mean : how unsure the mean itself is.
    price_minor : list price.
    """

    minutes: np.ndarray
    sd_minutes: np.ndarray
    log_sd_of_mean: np.ndarray
    price_minor: np.ndarray


def measures(simulated: SimulatedYears, times: WorkTimes, seed: int) -> dict[str, np.ndarray]:
    """Jobs, bench hours and revenue of every day of every year, each of shape (years, days).

    Minutes of several like jobs on a day are one gamma variable of their mean and variance.
    """
    rng = np.random.default_rng([seed, 1])
    years = simulated.counts.shape[0]
    sure = times.log_sd_of_mean
    level = np.exp(rng.normal(-0.5 * sure**2, sure, (years, len(WORKS))))
    hours = np.zeros(simulated.counts.shape[:2])
    for k in range(len(WORKS)):
        count = simulated.counts[:, :, k]
        year, day = np.nonzero(count)
        n = count[year, day]
        mean, sd = times.minutes[k], times.sd_minutes[k]
        drawn = rng.gamma(n * (mean / sd) ** 2, sd * sd / mean)
        hours[year, day] += drawn * level[year, k] / 60.0
    return {
        "jobs": simulated.counts.sum(axis=2).astype(float),
        "bench_hours": hours,
        "revenue_minor": simulated.counts @ times.price_minor.astype(float),
    }


def summarise(
    simulated: SimulatedYears, by_day: dict[str, np.ndarray], period: str
) -> pd.DataFrame:
    """Summarise by `week` (Monday to Sunday), `month` or `total`.

    Returns
    -------
    DataFrame
        `period`, `begins_on`, `measure`, `mean`, and the columns of `QUANTILES`. Quantiles of a
        period are of its totals over the simulated years; the first and last period may be cut.

    Raises
    ------
    BadFrame
        `period` is none of the three.
    """
    days = simulated.days
    if period == "week":
        starts = days - pd.to_timedelta(days.day_of_week, unit="D")
    elif period == "month":
        starts = days.to_period("M").to_timestamp()
    elif period == "total":
        starts = pd.DatetimeIndex([days[0]] * len(days))
    else:
        raise BadFrame(f"period: {period!r} is not week, month or total")
    begins, place = np.unique(starts.to_numpy(), return_inverse=True)
    edges = np.searchsorted(place, np.arange(len(begins)))
    parts = []
    for name, values in by_day.items():
        totals = np.add.reduceat(values, edges, axis=1)
        told = np.quantile(totals, list(QUANTILES.values()), axis=0)
        part = pd.DataFrame(told.T, columns=list(QUANTILES))
        part.insert(0, "mean", totals.mean(axis=0))
        part.insert(0, "measure", name)
        part.insert(0, "begins_on", begins.astype("datetime64[s]"))
        part.insert(0, "period", period)
        parts.append(part)
    return pd.concat(parts, ignore_index=True)
