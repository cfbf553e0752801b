"""Bench simulation of a year.

How long will a pair wait and be away, week by week, and how busy is the bench over the year?

Simulated jobs meet the bench's hours. Hands-on work runs on the bench's own clock. What dries does
so by the calendar, at night and over closed days too. Pairs come on open days; those that come by
post come and leave on post days.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from solespan.forecast.bench.hours import BenchClock, BenchHours
from solespan.forecast.bench.lead_times import booking_waits, lead_times
from solespan.forecast.bench.queue import Queue, serve
from solespan.forecast.bench.rules import BenchRules, WaitingJobs
from solespan.forecast.bench.standards import AFTER_DRYING_SHARE
from solespan.forecast.frames import WORKS
from solespan.forecast.workload.jobs import Jobs
from solespan.forecast.workload.summary import WorkTimes

__all__ = ["BenchYears", "run_bench"]

_EXTRA_DAYS = 366


@dataclass(frozen=True)
class BenchYears:
    """The bench over many simulated years.

    jobs : DataFrame
        One row a job: `year`, `received_hour` (of the calendar after as_of), `received_day`,
        `by_post`, `begun_day`, `done_day`, `back_day` (days after as_of; later than the plan
        reaches = the first day after it), `work`, `minutes`, `late_days` (how long its point was
        past its limit when it came in). A job by post is back on the first post day, any other
        when it is done.
    years : DataFrame
        One row a simulated year: `jobs`, `worked_hours`, `open_hours`, `idle_hours`,
        `longest_wait_days`, `worn_past_limit`.
    open_days : ndarray of bool
        Whether the shop is open on each day after as_of.
    waiting_done_day : ndarray of int, shape (years, waiting jobs)
        When each job that was there already is done.
    """

    as_of: pd.Timestamp
    jobs: pd.DataFrame
    years: pd.DataFrame
    open_days: np.ndarray
    waiting_done_day: np.ndarray

    def lead_times(self) -> pd.DataFrame:
        """Wait and time away by week: see `forecast.bench.lead_times.lead_times`."""
        return lead_times(self.jobs, self.as_of, len(self.years))

    def booking_waits(self) -> tuple[tuple[date, int], ...]:
        """How early a place is asked for: see `forecast.bench.lead_times.booking_waits`."""
        return booking_waits(self.jobs, self.as_of, self.open_days)


def run_bench(
    jobs: Jobs,
    times: WorkTimes,
    hours: BenchHours,
    as_of: pd.Timestamp,
    horizon_days: int,
    years: int,
    *,
    rules: BenchRules | None = None,
    waiting: WaitingJobs | None = None,
    seed: int = 1,
) -> BenchYears:
    """Put simulated jobs on the bench.

    Parameters
    ----------
    jobs : Jobs
        Of `years` simulated years.
    times : WorkTimes
        Hands-on minutes.
    hours : BenchHours
        When the bench is open and how many work side by side.
    horizon_days : int
        Days of the plan; the bench is let run on for a year to finish what came in.
    rules : BenchRules, optional
        Work in hand, drying, skills, machines and post.
    waiting : WaitingJobs, optional
        Jobs at the shop already today.

    Raises
    ------
    BadHorizon
        No bench does a kind of work.
    """
    rules, waiting = rules or BenchRules(), waiting or WaitingJobs.none()
    clock = hours.clock(as_of + pd.Timedelta(days=1), horizon_days + _EXTRA_DAYS)
    is_open = clock.minutes > 0
    post = np.resize(np.roll(rules.post_weekdays, -(as_of.day_of_week + 1)), len(is_open))
    post_days = _next_day(is_open & post)
    rng = np.random.default_rng([seed, 6])
    by_post = rng.random(len(jobs.day)) < rules.post_share
    received = np.where(by_post, post_days[jobs.day], _next_day(is_open)[jobs.day])
    at = np.minimum(received, len(is_open)) - 1
    arrival = clock.before[at] + clock.minutes[at] * rng.random(len(at))
    order = np.lexsort((arrival, jobs.year))
    year, work, day, due_day = (
        values[order] for values in (jobs.year, jobs.work, jobs.day, jobs.due_day)
    )
    received, by_post, arrival = received[order], by_post[order], arrival[order]
    late = np.where(due_day >= 0, np.maximum(day - 1 - due_day, 0), 0)
    draws = np.random.default_rng([seed, 3])
    minutes = _drawn_minutes(times, work, draws)
    here = _drawn_minutes(times, np.tile(waiting.work, (years, 1)), draws) * waiting.loads
    urgent = (late > 0) & rules.urgent_first
    columns = _Columns(year, years, len(waiting.work))
    queue = _queue(columns, rules, clock, waiting, here, (work, minutes, arrival, urgent))
    served = serve(queue, rules.places(hours.benches), clock.dried)
    begun_at, done_at = columns.taken(served.begun), columns.taken(served.done)
    # work is begun on the day the clock passes its start, and is done on the day it reaches its end
    begun = np.maximum(np.searchsorted(clock.before, begun_at, side="right"), received)
    done = np.maximum(np.searchsorted(clock.before, done_at), begun)
    frame = pd.DataFrame(
        {
            "year": year,
            "received_hour": clock.calendar_hour(arrival),
            "received_day": received,
            "by_post": by_post,
            "begun_day": begun,
            "done_day": done,
            "back_day": np.where(by_post, post_days[np.minimum(done, len(is_open))], done),
            "work": np.array(WORKS, dtype=object)[work],
            "minutes": minutes,
            "late_days": late,
        }
    )
    waiting_done = np.searchsorted(clock.before, served.done[:, : len(waiting.work)])
    waiting_minutes = (queue.first_work + queue.second_work)[:, : len(waiting.work)].sum(axis=1)
    told = _by_year(frame, begun_at, clock, horizon_days, hours, waiting_minutes)
    return BenchYears(as_of, frame, told, is_open, np.maximum(waiting_done, 1))


@dataclass(frozen=True)
class _Columns:
    """Where each job stands in arrays of shape (years, jobs): after those that wait already."""

    year: np.ndarray
    years: int
    waiting: int

    def laid_out(self, of_waiting: np.ndarray, values: np.ndarray, fill: float = 0.0) -> np.ndarray:
        """Lay out values of the jobs that wait and of those that come."""
        out = np.full((self.years, self.waiting + int(self._count().max(initial=0))), fill)
        out[:, : self.waiting] = of_waiting
        out[self.year, self._place()] = values
        return out

    def taken(self, values: np.ndarray) -> np.ndarray:
        """Take the values of the jobs that come, in their order."""
        return np.asarray(values[self.year, self._place()])

    def _count(self) -> np.ndarray:
        return np.asarray(np.bincount(self.year, minlength=self.years))

    def _place(self) -> np.ndarray:
        count = self._count()
        first = np.repeat(np.cumsum(count) - count, count)
        return np.asarray(np.arange(len(self.year)) - first + self.waiting)


def _queue(
    columns: _Columns,
    rules: BenchRules,
    clock: BenchClock,
    waiting: WaitingJobs,
    here: np.ndarray,
    coming: tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray],
) -> Queue:
    """Lay out what waits, with minutes `here`, and work, minutes, arrival, urgency of what comes.

    The work before drying of a job begun is over; where nothing dries, the same share is left.
    """
    work, minutes, arrival, urgent = coming
    dry_hours = rules.drying()
    share = np.where(dry_hours > 0, AFTER_DRYING_SHARE, 0.0)
    left = np.where(waiting.begun, AFTER_DRYING_SHARE, share[waiting.work])
    dried = np.where(waiting.begun, clock.bench_minute(waiting.dry_at_hour), 0.0)
    first = np.where(waiting.begun, 0.0, (1 - left) * here)
    none = np.zeros(len(waiting.work))
    return Queue(
        arrival=columns.laid_out(dried, arrival, np.inf),
        first_work=columns.laid_out(first, (1 - share[work]) * minutes),
        second_work=columns.laid_out(left * here, share[work] * minutes),
        wait=columns.laid_out(dry_hours[waiting.work], dry_hours[work]),
        urgency=columns.laid_out(none, urgent),
        kind=columns.laid_out(waiting.work, work).astype(np.int64),
        begun=columns.laid_out(waiting.begun, np.zeros(len(work))).astype(bool),
    )


def _drawn_minutes(times: WorkTimes, work: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    mean, sd = times.minutes[work], times.sd_minutes[work]
    log_sd = np.sqrt(np.log1p((sd / mean) ** 2))
    return np.asarray(mean * np.exp(log_sd * rng.standard_normal(work.shape) - log_sd**2 / 2))


def _next_day(allowed: np.ndarray) -> np.ndarray:
    """Give for each day after as_of the first allowed one from it; 0 and what is after the end too.

    Days count from 1; after the last allowed day it is the first day after all.
    """
    days = np.arange(1, len(allowed) + 1)
    after = np.where(allowed, days, len(allowed) + 1)
    after = np.minimum.accumulate(after[::-1])[::-1]
    return np.asarray(np.concatenate([after[:1], after, [len(allowed) + 1]]))


def _by_year(
    frame: pd.DataFrame,
    begun_at: np.ndarray,
    clock: BenchClock,
    horizon_days: int,
    hours: BenchHours,
    waiting_minutes: np.ndarray,
) -> pd.DataFrame:
    years, ends = len(waiting_minutes), clock.before[horizon_days]
    open_minutes = ends * hours.benches
    year = frame["year"].to_numpy()
    inside = np.where(begun_at < ends, frame["minutes"].to_numpy(), 0.0)
    worked = np.minimum(waiting_minutes + np.bincount(year, inside, years), open_minutes)
    waits = np.zeros(years)
    np.maximum.at(waits, year, (frame["begun_day"] - frame["received_day"]).to_numpy(float))
    return pd.DataFrame(
        {
            "jobs": np.bincount(year, minlength=years),
            "worked_hours": worked / 60.0,
            "open_hours": open_minutes / 60.0,
            "idle_hours": (open_minutes - worked) / 60.0,
            "longest_wait_days": waits,
            "worn_past_limit": np.bincount(year[frame["late_days"] > 0], minlength=years),
        }
    )
