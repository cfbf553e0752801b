"""Workload simulation: what comes in over a year, in a thousand years that may happen?

Each simulated year has one set of habits, one mix of work and one common error of the forecasts.
Each wearer has one error of their own in it. Every pair then draws whether it is still in use and
its due date. It draws whether its owner brings it and after which delay, and again for the next
sole. Pairs nobody follows yet are added. Totals are counted in whole years, so what pairs share is
in them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.special import ndtr, ndtri

from solespan.forecast.errors import BadHorizon
from solespan.forecast.frames import WORKS
from solespan.forecast.workload.habits import HabitDraws, Habits
from solespan.forecast.workload.hand_overs import LOGS
from solespan.forecast.workload.jobs import Booked, Jobs, SimulatedYears
from solespan.forecast.workload.marginals import LIFE_LOG_SD, DueTable
from solespan.forecast.workload.mix import WorkMix
from solespan.forecast.workload.newcomers import Newcomers
from solespan.forecast.workload.settings import WorkloadSettings
from solespan.forecast.workload.year_level import PastYears, fit_level
from solespan.forecast.workload.year_scale import YEAR_DAYS, scale_years

__all__ = [
    "joint_scores",
    "simulate_years",
    "still_used",
]

LEVEL_MONTHS = 12
_BLOCK_CELLS = 600_000
_MOST_SOLES = 6
_SHORTEST_LIFE = 20.0
_TOP = WORKS.index("top_piece")
_PLATE = WORKS.index("toe_plate")


def simulate_years(
    due: DueTable,
    habits: Habits,
    newcomers: Newcomers,
    mix: WorkMix,
    as_of: pd.Timestamp,
    settings: WorkloadSettings,
    booked: Booked | None = None,
    past: PastYears | None = None,
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

    Returns
    -------
    SimulatedYears
        The same seed gives the same years.

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
    counts = np.zeros(years * horizon * len(WORKS), dtype=np.int32)
    listed: list[np.ndarray] = []

    def add(found: np.ndarray) -> None:
        """Count jobs given as rows (year, day, work, row, due_day)."""
        flat = (found[0] * horizon + found[1] - 1) * len(WORKS) + found[2]
        np.add(counts, np.bincount(flat, minlength=len(counts)), out=counts, casting="unsafe")
        listed.append(found[:, found[0] < settings.listed_years])

    waiting: list[np.ndarray] = []
    for begin, block in _blocks(due, years):
        waiting.append(_known(begin, block, habit, shares, common, horizon, settings, rng))
        if sum(w.shape[1] for w in waiting) > 4_000_000:
            add(np.concatenate(waiting, axis=1))
            waiting.clear()
    if waiting:
        add(np.concatenate(waiting, axis=1))
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


def _blocks(due: DueTable, years: int) -> Iterator[tuple[int, DueTable]]:
    """Blocks of whole wearers of about `_BLOCK_CELLS` cells."""
    wearer = due.rows["wearer"].to_numpy()
    starts = np.flatnonzero(np.r_[True, wearer[1:] != wearer[:-1]][: len(wearer)])
    size = max(1, _BLOCK_CELLS // years)
    begin = 0
    for start in starts:
        if start - begin >= size:
            yield begin, due.part(slice(begin, start))
            begin = int(start)
    if len(wearer):
        yield begin, due.part(slice(begin, len(wearer)))


def _known(
    begin: int,
    due: DueTable,
    habit: HabitDraws,
    shares: np.ndarray,
    common: np.ndarray,
    horizon: int,
    settings: WorkloadSettings,
    rng: np.random.Generator,
) -> np.ndarray:
    """Jobs of the pairs of one block: rows year, day, work, row, due_day."""
    score = joint_scores(due, common, settings, rng)
    # who may come only past the horizon cannot come before it
    may = score < ndtri(due.share_open(horizon)).astype(np.float32)[:, None]
    row, year = np.nonzero(may & still_used(due, score.shape[1], rng))
    due_day = due.days_at(row, ndtr(score[row, year].astype(float)))
    rows = due.rows
    overdue = np.where(due_day <= 0, rows["overdue_days"].to_numpy()[row], 0.0)
    owners = _Owners(habit, rows["logs"].to_numpy(bool), rows["early_days"].to_numpy(float))
    # a forecast of an earlier day may name days that are past: nobody comes before tomorrow
    opens = np.maximum(due_day, 0.0) - overdue - owners.early_days[row]
    _, wait = owners.come_in(row, year, np.maximum(-opens, 0.0), rng)
    arrival = np.maximum(opens, 0.0) + wait
    on_sole = (rows["point"] == "ball").to_numpy()[row]
    inside = arrival < horizon
    life = np.maximum(rows["sole_age_days"].to_numpy()[row] + due_day - overdue, _SHORTEST_LIFE)
    soles = np.flatnonzero(on_sole & inside)
    events = _Events(row[soles], year[soles], arrival[soles], due_day[soles], life[soles])
    renewed = np.full(score.shape, np.inf, dtype=np.float32)
    found = []
    for again in range(_MOST_SOLES):
        if not len(events.row):
            break
        if not again:
            renewed[events.row, events.year] = events.arrival
        found.append(_table(events, _sole_work(shares, events.year, rng), begin))
        events = _next(events, owners, horizon, settings.turnaround_days, rng)
    # A top piece or toe plate due near the sole's job, or after it, is done with that job. Its life
    # starts again from there.
    small = np.flatnonzero(~on_sole)
    of_sole = renewed[_row_of_ball(due)[row[small]], year[small]]
    along = of_sole <= arrival[small] + settings.along_days
    alone = small[inside[small] & ~along]
    kinds = np.where(rows["point"].to_numpy() == "heel", _TOP, _PLATE)
    events = _Events(row[alone], year[alone], arrival[alone], due_day[alone], life[alone])
    found.append(_table(events, kinds[events.row], begin))
    start = np.where(along, of_sole, arrival[small])
    on = np.flatnonzero(start < horizon)
    events = _Events(row[small[on]], year[small[on]], start[on], start[on], life[small[on]])
    for _ in range(_MOST_SOLES):
        events = _next(events, owners, horizon, settings.turnaround_days, rng)
        if not len(events.row):
            break
        found.append(_table(events, kinds[events.row], begin))
    return np.concatenate(found, axis=1)


@dataclass(frozen=True)
class _Events:
    """Jobs of one round, arrays of one length; `life` is how long the next one will last."""

    row: np.ndarray
    year: np.ndarray
    arrival: np.ndarray
    due_day: np.ndarray
    life: np.ndarray

    def only(self, keep: np.ndarray) -> _Events:
        return _Events(
            self.row[keep], self.year[keep], self.arrival[keep], self.due_day[keep], self.life[keep]
        )


def _next(
    events: _Events, owners: _Owners, horizon: int, turnaround: int, rng: np.random.Generator
) -> _Events:
    """Return the jobs that follow: what is new lives about as long as what it replaced."""
    spread = LIFE_LOG_SD[owners.logs[events.row].astype(int)]
    life = events.life * np.exp(spread * rng.standard_normal(len(events.row)))
    due_day = events.arrival + turnaround + life
    keep = due_day < horizon + owners.early_days[events.row]
    events = replace(events, due_day=due_day, life=life).only(keep)
    came, wait = owners.come_in(events.row, events.year, np.zeros(len(events.year)), rng)
    # nobody brings a pair that is still at the shop
    opens = np.maximum(events.due_day - owners.early_days[events.row], events.arrival + turnaround)
    events = replace(events, arrival=opens + wait)
    return events.only(came & (events.arrival < horizon))


def joint_scores(
    due: DueTable, common: np.ndarray, settings: WorkloadSettings, rng: np.random.Generator
) -> np.ndarray:
    """Place of each row in its distribution in each year, as a normal score, shape (n, years).

    A Gaussian copula with one factor for all and one for each wearer; float32.
    """
    wearer = due.rows["wearer"].to_numpy()
    wearer = wearer - wearer[0]
    n, years = len(wearer), len(common)
    own = 1.0 - settings.shared_by_all - settings.shared_by_wearer
    of_wearer = rng.standard_normal((wearer[-1] + 1, years), dtype=np.float32)
    score = rng.standard_normal((n, years), dtype=np.float32) * np.float32(np.sqrt(own))
    score += np.float32(np.sqrt(settings.shared_by_wearer)) * of_wearer[wearer]
    score += common.astype(np.float32)
    return score


def still_used(due: DueTable, years: int, rng: np.random.Generator) -> np.ndarray:
    """Whether the pair of each row is still worn and its owner a customer, shape (n, years).

    The points of one pair share the answer.
    """
    chance = due.rows["in_use"].to_numpy(float)
    if (chance >= 1.0).all():
        return np.ones((1, 1), bool)
    first = np.unique(due.rows["pair_id"].to_numpy(str), return_inverse=True)[1]
    drawn = rng.random((int(first.max()) + 1, years), dtype=np.float32)[first]
    return np.asarray(drawn < chance[:, None].astype(np.float32))


@dataclass(frozen=True)
class _Owners:
    """Owners of the rows of a due table, with their habits of each simulated year."""

    habit: HabitDraws
    logs: np.ndarray
    early_days: np.ndarray

    def come_in(
        self, row: np.ndarray, year: np.ndarray, waited: np.ndarray, rng: np.random.Generator
    ) -> tuple[np.ndarray, np.ndarray]:
        """Whether each pair is brought from the day its owner may come, and days until then.

        The days are inf where it is not. An owner who has waited already is less likely to come.
        """
        habit, kind = self.habit, self.logs[row].astype(int)
        come = habit.come[kind, year]
        center, sd = np.log(habit.median_delay_days[kind, year]), habit.delay_log_sd[kind, year]
        passed = np.zeros(len(year))
        late = np.flatnonzero(waited > 0)
        passed[late] = ndtr((np.log(waited[late]) - center[late]) / sd[late])
        come = come * (1 - passed) / np.maximum(1 - come * passed, 1e-12)
        kept = np.where(kind == LOGS, 1.0, 1.0 - habit.no_show[year])
        came = rng.random(len(year)) < come * kept
        wait = np.full(len(year), np.inf)
        who = np.flatnonzero(came)
        score = rng.standard_normal(len(who))
        late = np.flatnonzero(passed[who] > 0)
        share = passed[who[late]] + (1 - passed[who[late]]) * ndtr(score[late])
        score[late] = ndtri(np.clip(share, 1e-12, 1 - 1e-12))
        delay = np.exp(center[who] + sd[who] * score)
        wait[who] = np.maximum(delay - waited[who], 0.0)
        return came, wait


def _sole_work(shares: np.ndarray, year: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    above = rng.random(len(year))[:, None] > shares[year]
    return np.asarray(np.minimum(above.sum(axis=1), len(WORKS) - 1))


def _row_of_ball(due: DueTable) -> np.ndarray:
    """For each row, the row of the same pair's ball; every pair that has a sole has one."""
    pair = due.rows["pair_id"].to_numpy()
    at_ball = np.flatnonzero((due.rows["point"] == "ball").to_numpy())
    ball_of = dict(zip(pair[at_ball], at_ball, strict=True))
    return np.array([ball_of.get(p, i) for i, p in enumerate(pair)], dtype=int)


def _unknown(
    newcomers: Newcomers,
    mix: WorkMix,
    as_of: pd.Timestamp,
    horizon: int,
    settings: WorkloadSettings,
    rng: np.random.Generator,
) -> np.ndarray:
    """Jobs on pairs that nobody follows yet; day by day alike within a month."""
    last = as_of + pd.Timedelta(days=horizon)
    end = newcomers.end
    months = (last.year - end.year) * 12 + last.month - end.month + 1
    counts = newcomers.draw(months, settings.years, rng)
    starts = pd.date_range(end, periods=months + 1, freq="MS")
    first = (starts[:-1] - as_of).days.to_numpy()
    length = np.diff((starts - as_of).days.to_numpy())
    year = np.repeat(np.arange(settings.years), counts.sum(axis=1))
    month = np.repeat(np.tile(np.arange(months), settings.years), counts.ravel())
    day = first[month] + rng.integers(0, length[month])
    inside = (day >= 1) & (day <= horizon)
    year, day = year[inside], day[inside]
    back = rng.poisson(newcomers.repeats_per_day * (horizon - day))
    year = np.r_[year, np.repeat(year, back)]
    later = np.repeat(day, back)
    day = np.r_[day, later + 1 + rng.integers(0, np.maximum(horizon - later, 1))]
    inside = day <= horizon
    year, day = year[inside], day[inside]
    shares = rng.dirichlet(mix.of_newcomers, settings.years).cumsum(axis=1)
    none = np.full(len(year), -1)
    return np.array([year, day, _sole_work(shares, year, rng), none, none])


def _kept_bookings(
    booked: Booked, habit: HabitDraws, horizon: int, rng: np.random.Generator
) -> np.ndarray:
    years, n = len(habit.no_show), len(booked.day)
    kept = rng.random((years, n)) >= habit.no_show[:, None]
    year, place = np.nonzero(kept & (booked.day <= horizon))
    none = np.full(len(year), -1)
    return np.array([year, np.maximum(booked.day[place], 1), booked.work[place], none, none])


def _table(events: _Events, work: np.ndarray, begin: int) -> np.ndarray:
    day = np.floor(events.arrival).astype(np.int64) + 1
    due_day = np.floor(events.due_day).astype(np.int64)
    return np.array([events.year, day, work, events.row + begin, due_day])
