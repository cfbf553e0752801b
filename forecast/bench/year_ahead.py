"""Bench simulation of a year.

How long will a pair wait and be away, week by week, and how busy is the bench over the year?

Simulated jobs meet the bench's hours: the queue of `forecast.bench.queue` runs on the bench's own
clock, and its answers are turned back into calendar days.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from solespan.forecast.bench.hours import BenchHours
from solespan.forecast.bench.queue import Queue, serve
from solespan.forecast.bench.standards import STANDARDS
from solespan.forecast.frames import WORKS
from solespan.forecast.workload.jobs import Jobs
from solespan.forecast.workload.summary import WorkTimes

__all__ = ["BenchYears", "run_bench"]

_EXTRA_DAYS = 366
_SECOND_SHARE = 0.4  # of the work is left for after drying: common practice, no source


@dataclass(frozen=True)
class BenchYears:
    """The bench over many simulated years.

    jobs : DataFrame
        One row a job: `year`, `received_day`, `begun_day`, `done_day` (days after as_of; later than
        the plan reaches = the first day after it), `work`, `minutes`, `late_days` (how long its
        point was past its limit when it came in).
    years : DataFrame
        One row a simulated year: `jobs`, `worked_hours`, `open_hours`, `idle_hours`,
        `longest_wait_days`, `worn_past_limit`.
    """

    as_of: pd.Timestamp
    jobs: pd.DataFrame
    years: pd.DataFrame

    def lead_times(self) -> pd.DataFrame:
        """Wait for the bench and time away by week of reception.

        Returns
        -------
        DataFrame
            `week_begins_on`, `jobs` a year, and quantiles `wait_days_p50`, `wait_days_p90`,
            `lead_days_p10`, `lead_days_p50`, `lead_days_p90`.
        """
        jobs = self.jobs
        day = self.as_of + pd.to_timedelta(jobs["received_day"], unit="D")
        monday = day - pd.to_timedelta(day.dt.day_of_week, unit="D")
        told = pd.DataFrame(
            {
                "week_begins_on": monday.astype("datetime64[s]"),
                "wait": jobs["begun_day"] - jobs["received_day"],
                "lead": jobs["done_day"] - jobs["received_day"],
            }
        ).groupby("week_begins_on")
        out = pd.DataFrame({"jobs": told.size() / max(len(self.years), 1)})
        for name, share in (("p50", 0.5), ("p90", 0.9)):
            out[f"wait_days_{name}"] = told["wait"].quantile(share)
        for name, share in (("p10", 0.1), ("p50", 0.5), ("p90", 0.9)):
            out[f"lead_days_{name}"] = told["lead"].quantile(share)
        return out.reset_index()


def run_bench(
    jobs: Jobs,
    times: WorkTimes,
    hours: BenchHours,
    as_of: pd.Timestamp,
    horizon_days: int,
    years: int,
    *,
    in_work_limit: int = 0,
    urgent_first: bool = False,
    started_minutes: float = 0.0,
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
    in_work_limit : int
        Most jobs begun and not done at a time; 0 = no limit.
    urgent_first : bool
        Whether jobs that came in past their limit go before the others.
    started_minutes : float
        Work that waits at the shop already today.
    """
    rng = np.random.default_rng([seed, 3])
    order = np.lexsort((jobs.day, jobs.year))
    year, day, work = jobs.year[order], jobs.day[order], jobs.work[order]
    late = np.where(jobs.due_day[order] >= 0, np.maximum(day - 1 - jobs.due_day[order], 0), 0)
    mean, sd = times.minutes[work], times.sd_minutes[work]
    log_sd = np.sqrt(np.log1p((sd / mean) ** 2))
    minutes = mean * np.exp(log_sd * rng.standard_normal(len(work)) - log_sd**2 / 2)
    clock = hours.clock(as_of + pd.Timedelta(days=1), horizon_days + _EXTRA_DAYS)
    count = np.bincount(year, minlength=years)
    place = np.arange(len(year)) - np.repeat(np.cumsum(count) - count, count)
    width = int(count.max(initial=0)) + 1

    def laid_out(values: np.ndarray, fill: float, today: float) -> np.ndarray:
        out = np.full((years, width), fill)
        out[:, 0] = today  # the work that waits already is one piece at the start
        out[year, place + 1] = values
        return out

    dried = np.array([STANDARDS[w].drying_hours for w in WORKS])[work]
    per_day = clock[-1] / (len(clock) - 1)
    second = np.where(dried > 0, _SECOND_SHARE * minutes, 0.0)
    queue = Queue(
        arrival=laid_out(clock[np.minimum(day - 1, len(clock) - 1)], np.inf, 0.0),
        first_work=laid_out(minutes - second, 0.0, started_minutes),
        second_work=laid_out(second, 0.0, 0.0),
        wait=laid_out(dried / 24.0 * per_day, 0.0, 0.0),
        urgency=laid_out((late > 0) & urgent_first, 0.0, 0.0),
    )
    served = serve(queue, hours.benches, in_work_limit)
    begun_at, done_at = served.begun[year, place + 1], served.done[year, place + 1]
    # work is begun on the day the clock passes its start, and is done on the day it reaches its end
    begun = np.maximum(np.searchsorted(clock, begun_at, side="right"), day)
    done = np.maximum(np.searchsorted(clock, done_at, side="left"), begun)
    frame = pd.DataFrame(
        {
            "year": year,
            "received_day": day,
            "begun_day": begun,
            "done_day": done,
            "work": np.array(WORKS, dtype=object)[work],
            "minutes": minutes,
            "late_days": late,
        }
    )
    return BenchYears(as_of, frame, _by_year(frame, begun_at, clock, horizon_days, hours, years))


def _by_year(
    frame: pd.DataFrame,
    begun_at: np.ndarray,
    clock: np.ndarray,
    horizon_days: int,
    hours: BenchHours,
    years: int,
) -> pd.DataFrame:
    open_minutes = clock[horizon_days] * hours.benches
    year = frame["year"].to_numpy()
    inside = np.where(begun_at < clock[horizon_days], frame["minutes"].to_numpy(), 0.0)
    worked = np.minimum(np.bincount(year, inside, years), open_minutes)
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
