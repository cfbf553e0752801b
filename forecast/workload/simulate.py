"""Workload simulation: what comes in over a year, in a thousand years that may happen?

Each simulated year has one set of habits, one mix of work and one common error of the forecasts.
Each wearer has one error of their own in it. Every pair then draws whether it is still in use and
its due date. It draws whether its owner brings it and after which delay, and again for the next
sole. Small works without a date and pairs nobody follows yet are added. Totals are counted in whole
years, so what pairs share is in them.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from solespan.forecast.errors import BadHorizon
from solespan.forecast.frames import WORKS
from solespan.forecast.panel.wearer_parts import Runner
from solespan.forecast.workload.habits import HabitDraws, Habits
from solespan.forecast.workload.jobs import Booked, Jobs, SimulatedYears
from solespan.forecast.workload.marginals import DueTable
from solespan.forecast.workload.mix import WorkMix
from solespan.forecast.workload.newcomers import Newcomers, days_of_months
from solespan.forecast.workload.pair_years import (
    SharedDraws,
    count_jobs,
    jobs_of_pairs,
    sole_work,
)
from solespan.forecast.workload.settings import WorkloadSettings
from solespan.forecast.workload.small_works import SmallWorks
from solespan.forecast.workload.year_level import PastYears, fit_level
from solespan.forecast.workload.year_scale import YEAR_DAYS, scale_years

__all__ = ["simulate_years"]

LEVEL_MONTHS = 12


def simulate_years(
    due: DueTable,
    habits: Habits,
    newcomers: Newcomers,
    mix: WorkMix,
    as_of: pd.Timestamp,
    settings: WorkloadSettings,
    booked: Booked | None = None,
    past: PastYears | None = None,
    runner: Runner | None = None,
    small: SmallWorks | None = None,
) -> SimulatedYears:
    """Simulate whole years of arrivals.

    Parameters
    ----------
    due : DueTable
        Of all pairs that are followed.
    habits, newcomers, mix
        What was learnt of owners, of pairs unknown and of kinds of work.
    as_of : Timestamp
        The last day known; day 1 is the next.
    settings : WorkloadSettings
    booked : Booked, optional
        What has a day already; it comes but for no-shows. Leave its pairs out of `due`.
    past : PastYears, optional
        The shop's past, by which the totals are levelled; bookings stay. None: no level.
    runner : Runner, optional
        Where parts of the pairs are simulated. None: here, one block after the other.
    small : SmallWorks, optional
        Small works of followed pairs that no date foresees. None: none.

    Returns
    -------
    SimulatedYears
        The same seed gives the same years, wherever and in however many parts they are made.

    Raises
    ------
    BadHorizon
        With a `past`, fewer than twelve months are asked for.
    """
    if past is not None and settings.months < LEVEL_MONTHS:
        raise BadHorizon(f"months: a level is of a year; {settings.months} is under 12")
    rng = np.random.default_rng(settings.seed)
    horizon = int((as_of + pd.DateOffset(months=settings.months) - as_of).days)
    years = settings.years
    habit = habits.draw(years, rng)
    shares = rng.dirichlet(mix.of_soles, years).cumsum(axis=1)
    common = np.sqrt(settings.shared_by_all) * rng.standard_normal(years)
    shared = SharedDraws(habit, shares, common, horizon, settings)
    counts, listed = jobs_of_pairs(due, shared, runner)
    cells = len(counts)

    def add(found: np.ndarray) -> None:
        np.add(counts, count_jobs(found, horizon, cells), out=counts, casting="unsafe")
        listed.append(found[:, found[0] < settings.listed_years])

    if small is not None:
        foreseen = counts.reshape(years, horizon, len(WORKS)).mean(axis=0)
        more = small.draw(foreseen, as_of, years, np.random.default_rng([settings.seed, 6]))
        add(np.concatenate([more, np.full((2, more.shape[1]), -1)]))
    unknown = _unknown(newcomers, mix, as_of, horizon, settings, rng)
    add(unknown)
    kept = _kept_bookings(booked or Booked.none(), habit, horizon, rng)
    of_newcomers, level = np.bincount(unknown[0], minlength=years), None
    if past is not None:
        soon = np.bincount(kept[0, kept[1] <= YEAR_DAYS], minlength=years)
        shape = (years, horizon, len(WORKS))
        said = counts.reshape(shape)[:, :YEAR_DAYS].sum(axis=(1, 2)) + soon
        level = fit_level(past, float(said.mean()), float(said.std()))
        scaled, part, factor = scale_years(
            counts.reshape(shape),
            np.concatenate(listed, axis=1),
            soon,
            settings.listed_years,
            level,
            np.random.default_rng([settings.seed, 4]),
        )
        counts, listed = scaled.ravel(), [part]
        of_newcomers = np.round(of_newcomers * factor).astype(np.int64)
    add(kept)
    jobs = Jobs(*np.concatenate(listed, axis=1))
    return SimulatedYears(
        as_of, counts.reshape(years, horizon, len(WORKS)), of_newcomers, jobs, level
    )


def _unknown(
    newcomers: Newcomers,
    mix: WorkMix,
    as_of: pd.Timestamp,
    horizon: int,
    settings: WorkloadSettings,
    rng: np.random.Generator,
) -> np.ndarray:
    """Jobs on pairs that nobody follows yet."""
    year, day = days_of_months(newcomers, as_of, horizon, settings.years, rng)
    back = rng.poisson(newcomers.repeats_per_day * (horizon - day))
    year = np.r_[year, np.repeat(year, back)]
    later = np.repeat(day, back)
    day = np.r_[day, later + 1 + rng.integers(0, np.maximum(horizon - later, 1))]
    inside = day <= horizon
    year, day = year[inside], day[inside]
    shares = rng.dirichlet(mix.of_newcomers, settings.years).cumsum(axis=1)
    none = np.full(len(year), -1)
    return np.array([year, day, sole_work(shares, year, rng), none, none])


def _kept_bookings(
    booked: Booked, habit: HabitDraws, horizon: int, rng: np.random.Generator
) -> np.ndarray:
    years, n = len(habit.no_show), len(booked.day)
    kept = rng.random((years, n)) >= habit.no_show[:, None]
    year, place = np.nonzero(kept & (booked.day <= horizon))
    none = np.full(len(year), -1)
    return np.array([year, np.maximum(booked.day[place], 1), booked.work[place], none, none])
