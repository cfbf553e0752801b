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

__all__ = [
    "MEASURES",
    "QUANTILES",
    "WorkTimes",
    "measures",
    "share_of_weeks_over",
    "summarise",
]

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
    """Summarise by `week` (Monday to Sunday), `month`, `quarter` or `total`.

    A quarter is three months from the first day on.

    Returns
    -------
    DataFrame
        `period`, `begins_on`, `measure`, `mean`, and the columns of `QUANTILES`. Quantiles of a
        period are of its totals over the simulated years; the first and last period may be cut.

    Raises
    ------
    BadFrame
        `period` is none of these.
    """
    begins, edges = _periods(simulated.days, period)
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


def share_of_weeks_over(
    simulated: SimulatedYears, hours_by_day: np.ndarray, open_by_day: np.ndarray
) -> float:
    """Share of whole weeks that bring more hours of work than the bench is open; 0 without one.

    Parameters
    ----------
    hours_by_day : ndarray, shape (years, days)
        Of the work handed over.
    open_by_day : ndarray, shape (days,)
        Hours of all benches.
    """
    _, edges = _periods(simulated.days, "week")
    whole = np.diff(np.r_[edges, len(simulated.days)]) == 7
    if not whole.any():
        return 0.0
    work = np.add.reduceat(hours_by_day, edges, axis=1)[:, whole]
    return float(np.mean(work > np.add.reduceat(open_by_day, edges)[whole]))


def _periods(days: pd.DatetimeIndex, period: str) -> tuple[np.ndarray, np.ndarray]:
    """First calendar day of each period, and its place among the days."""
    if period == "week":
        starts = days - pd.to_timedelta(days.day_of_week, unit="D")
    elif period == "month":
        starts = days.to_period("M").to_timestamp()
    elif period == "quarter":
        firsts = pd.DatetimeIndex([days[0] + pd.DateOffset(months=3 * k) for k in range(13)])
        starts = firsts[firsts.searchsorted(days, side="right") - 1]
    elif period == "total":
        starts = pd.DatetimeIndex([days[0]] * len(days))
    else:
        raise BadFrame(f"period: {period!r} is not week, month, quarter or total")
    begins, place = np.unique(starts.to_numpy(), return_inverse=True)
    return begins, np.searchsorted(place, np.arange(len(begins)))
