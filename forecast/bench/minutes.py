r"""Bench minutes (log-normal model): how long does each kind of work take on this shop's bench?

The model is for log minutes of a job by kind of work and worker. Each kind has a normal mean with a
prior from the standards. A worker's pace is shared over kinds, and single jobs vary. All is normal,
so the posterior is one linear solve. Partial pooling: Gelman and Hill, Data Analysis Using
Regression and Multilevel/Hierarchical Models, 2007, chapter 12. The spread of jobs is pooled with a
prior too.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from solespan.forecast.bench.standards import STANDARDS, Job, standard_minutes
from solespan.forecast.bench.visits import shares_of, works_of
from solespan.forecast.errors import BadFrame
from solespan.forecast.frames import WORKS
from solespan.forecast.workload.summary import WorkTimes

__all__ = ["JobMinutes", "fit_minutes", "work_times"]

# Common practice, no source. A shop's own mean lies within about 30 % of the standard. A worker's
# pace lies within 15 % of the shop's, single jobs within 25 %.
SD_OF_KIND, SD_OF_WORKER, SD_OF_JOB = 0.30, 0.15, 0.25
_JOBS_BEHIND_SPREAD = 8.0


@dataclass(frozen=True)
class JobMinutes:
    """What the bench's own record says of minutes.

    log_ratio, log_sd : by kind of work, log of the shop's mean over the standard and its SD.
    of_worker : log pace of each worker, 0 = the shop's.
    job_log_sd : spread of single jobs by kind.
    jobs : how many jobs of each kind it was learnt from.
    """

    log_ratio: dict[str, float]
    log_sd: dict[str, float]
    of_worker: dict[str, float]
    job_log_sd: dict[str, float]
    jobs: dict[str, int]

    def median(
        self, work: str, construction: str, worker: str | None = None, job: Job | None = None
    ) -> float:
        """Median minutes of one job; an unknown worker counts as the shop's average."""
        pace = self.of_worker.get(worker or "", 0.0)
        usual = standard_minutes(work, construction, job)
        return float(usual * np.exp(self.log_ratio[work] + pace))

    def mean(self, work: str, construction: str) -> float:
        """Mean minutes of one job: what many of them take together, over their number."""
        spread = self.job_log_sd[work]
        return self.median(work, construction) * float(np.exp(spread**2 / 2))

    def mean_visit(self, works: Sequence[str], construction: str) -> float:
        """Mean minutes of all works of one visit."""
        shares = shares_of(works).items()
        return sum(share * self.mean(work, construction) for work, (share, _) in shares)

    def interval(
        self, work: str, construction: str, share: float = 0.8, job: Job | None = None
    ) -> tuple[float, float]:
        """Minutes between which the next job falls with a chance of `share`."""
        from scipy.special import ndtri  # noqa: PLC0415

        sd = np.hypot(self.log_sd[work], self.job_log_sd[work])
        reach = ndtri(0.5 + share / 2) * sd
        middle = self.median(work, construction, job=job)
        return float(middle * np.exp(-reach)), float(middle * np.exp(reach))

    def visit(
        self,
        works: Sequence[str],
        construction: str,
        worker: str | None = None,
        job: Job | None = None,
    ) -> tuple[float, float, float]:
        """Minutes of all works of one visit: the lower end, the median, the upper end of 80 %."""
        low, each, high = 0.0, 0.0, 0.0
        for work, (share, _) in shares_of(works).items():
            usual = self.median(work, construction, job=job)
            own = self.median(work, construction, worker, job)
            span = self.interval(work, construction, job=job)
            each += share * own
            low += share * span[0] * own / usual
            high += share * span[1] * own / usual
        return low, each, high


def fit_minutes(jobs: pd.DataFrame, usual_minutes: Mapping[str, float] | None = None) -> JobMinutes:
    """Learn from finished jobs.

    Parameters
    ----------
    jobs : DataFrame
        `work`, `construction`, `bench_minutes`, and `worker` and `more_works` (may be missing).
        Rows without minutes are left out; with none the standards hold alone. A job of several
        works is held against the standards of all, and teaches its main work.
    usual_minutes : mapping, optional
        What the shop says of a usual pair by kind of work, min: the mean of the prior, in the place
        of the standard.

    Raises
    ------
    BadFrame
        Minutes are negative.
    """
    if (jobs["bench_minutes"] < 0).any():
        raise BadFrame("jobs.bench_minutes: minutes cannot be negative; correct the job")
    # zero minutes say that nobody timed the job
    rows = jobs[jobs["bench_minutes"] > 0]
    more = rows["more_works"] if "more_works" in rows else [None] * len(rows)
    standard = [
        sum(share * standard_minutes(w, how) for w, (share, _) in shares_of(works).items())
        for works, how in zip(map(works_of, rows["work"], more), rows["construction"], strict=True)
    ]
    ratio = np.log(rows["bench_minutes"].to_numpy(float)) - np.log(np.array(standard, dtype=float))
    kind = rows["work"].map({w: i for i, w in enumerate(WORKS)}).to_numpy(int)
    worker = np.full(len(rows), -1)
    names: list[str] = []
    if "worker" in rows:
        worker, found = pd.factorize(rows["worker"])
        names = [str(name) for name in found]
    sd_job = _spread(ratio, kind)
    size = len(WORKS) + len(names)
    precision = np.diag(
        np.r_[np.full(len(WORKS), SD_OF_KIND**-2), np.full(len(names), SD_OF_WORKER**-2)]
    )
    pull = np.zeros(size)
    for work, said in (usual_minutes or {}).items():
        pull[WORKS.index(work)] = np.log(said / STANDARDS[work].minutes) * SD_OF_KIND**-2
    weight = sd_job[kind] ** -2
    np.add.at(precision, (kind, kind), weight)
    np.add.at(pull, kind, weight * ratio)
    known = np.flatnonzero(worker >= 0)
    place = len(WORKS) + worker[known]
    np.add.at(precision, (place, place), weight[known])
    np.add.at(precision, (kind[known], place), weight[known])
    np.add.at(precision, (place, kind[known]), weight[known])
    np.add.at(pull, place, (weight * ratio)[known])
    cov = np.linalg.inv(precision)
    mean = cov @ pull
    count = np.bincount(kind, minlength=len(WORKS))
    return JobMinutes(
        log_ratio={w: float(mean[i]) for i, w in enumerate(WORKS)},
        log_sd={w: float(np.sqrt(cov[i, i])) for i, w in enumerate(WORKS)},
        of_worker={n: float(mean[len(WORKS) + i]) for i, n in enumerate(names)},
        job_log_sd={w: float(sd_job[i]) for i, w in enumerate(WORKS)},
        jobs={w: int(count[i]) for i, w in enumerate(WORKS)},
    )


def _spread(ratio: np.ndarray, kind: np.ndarray) -> np.ndarray:
    """SD of single jobs by kind, the prior counting as eight jobs."""
    out = np.empty(len(WORKS))
    for k in range(len(WORKS)):
        own = ratio[kind == k]
        square = float(np.square(own - own.mean()).sum()) if len(own) else 0.0
        freedom = max(len(own) - 1, 0)
        out[k] = np.sqrt(
            (_JOBS_BEHIND_SPREAD * SD_OF_JOB**2 + square) / (_JOBS_BEHIND_SPREAD + freedom)
        )
    return out


def work_times(
    minutes: JobMinutes, construction_shares: dict[str, float], price_minor: dict[str, int]
) -> WorkTimes:
    """Mean minutes and price by kind for `forecast.workload`, averaged over constructions.

    Parameters
    ----------
    minutes : JobMinutes
    construction_shares : dict
        Construction -> share of the pairs; empty = Goodyear welted.
    price_minor : dict
        Work -> list price; a missing one takes the standard.
    """
    shares = construction_shares or {"goodyear_welted": 1.0}
    whole = sum(shares.values())
    mean, sd = np.empty(len(WORKS)), np.empty(len(WORKS))
    for k, work in enumerate(WORKS):
        spread = minutes.job_log_sd[work]
        each = np.array([minutes.median(work, c) for c in shares]) * np.exp(spread**2 / 2)
        weight = np.array(list(shares.values())) / whole
        mean[k] = weight @ each
        second = weight @ (each**2 * np.exp(spread**2))
        sd[k] = np.sqrt(second - mean[k] ** 2)
    sure = np.array([minutes.log_sd[w] for w in WORKS])
    prices = [price_minor.get(w, STANDARDS[w].price_minor) for w in WORKS]
    return WorkTimes(mean, sd, sure, np.array(prices, dtype=float))
