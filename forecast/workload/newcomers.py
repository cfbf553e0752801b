"""New pairs (count model): how many pairs will come in that nobody follows yet?

Monthly counts of such jobs follow a Poisson regression with or without a trend and a yearly wave
(statsmodels' GLM). The four forms are averaged by their evidence (quasi-likelihood BIC). Months of
long ago are left out, and a trend has a prior, as none lasts. Every simulated year draws a form,
its coefficients, a common level and over-dispersed counts. So an uncertain trend widens the year
instead of moving it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from solespan.forecast.errors import BadFrame

__all__ = ["Newcomers", "days_of_months", "fit_newcomers"]

_YEAR_DAYS = 365
_MONTHS_FOR_SEASON = 18
_MONTHS_FOR_TREND = 12
# Before any history: a handful a year, very uncertain (common practice, no source).
PRIOR_MONTHS, PRIOR_PER_MONTH = 2.0, 0.5
_LEVEL_SD_PER_ROOT_YEAR = 0.05
_MOST_MONTHS = 60
_TREND_SD = 0.4  # log a year (common practice, no source)


@dataclass(frozen=True)
class _Form:
    weight: float
    trend: bool
    season: bool
    mean: np.ndarray
    cov: np.ndarray


@dataclass(frozen=True)
class Newcomers:
    """What was learnt: forms with weights, over-dispersion, and the month the counts end before.

    dispersion : variance of a month's count over its mean.
    months_known : how many months it was learnt from.
    repeats_per_day : jobs that follow on the same pair within a year of the first, per day.
    """

    forms: tuple[_Form, ...]
    dispersion: float
    end: pd.Timestamp
    months_known: int
    repeats_per_day: float

    def draw(self, months: int, years: int, rng: np.random.Generator) -> np.ndarray:
        """Draw counts of the next months, shape (years, months)."""
        weights = np.array([f.weight for f in self.forms])
        which = rng.choice(len(self.forms), years, p=weights / weights.sum())
        log_mean = np.empty((years, months))
        for k, form in enumerate(self.forms):
            rows = np.flatnonzero(which == k)
            design = _design(self.end, np.arange(months), form.trend, form.season)
            draws = rng.multivariate_normal(form.mean, form.cov, len(rows), method="cholesky")
            log_mean[rows] = draws @ design.T
        level = rng.normal(0.0, _LEVEL_SD_PER_ROOT_YEAR, (years, months)) / np.sqrt(12.0)
        mean = np.exp(np.clip(log_mean + np.cumsum(level, axis=1), -12.0, 12.0))
        if self.dispersion > 1.001:
            size = mean / (self.dispersion - 1.0)
            mean = rng.gamma(size, self.dispersion - 1.0)
        return np.asarray(rng.poisson(mean))


def days_of_months(
    newcomers: Newcomers,
    as_of: pd.Timestamp,
    horizon: int,
    years: int,
    rng: np.random.Generator,
) -> tuple[np.ndarray, np.ndarray]:
    """Draw the year and the day after `as_of` of every job; day by day alike within a month."""
    last = as_of + pd.Timedelta(days=horizon)
    end = newcomers.end
    months = (last.year - end.year) * 12 + last.month - end.month + 1
    counts = newcomers.draw(months, years, rng)
    starts = pd.date_range(end, periods=months + 1, freq="MS")
    first = (starts[:-1] - as_of).days.to_numpy()
    length = np.diff((starts - as_of).days.to_numpy())
    year = np.repeat(np.arange(years), counts.sum(axis=1))
    month = np.repeat(np.tile(np.arange(months), years), counts.ravel())
    day = first[month] + rng.integers(0, length[month])
    inside = (day >= 1) & (day <= horizon)
    return year[inside], day[inside]


def _design(end: pd.Timestamp, offsets: np.ndarray, trend: bool, season: bool) -> np.ndarray:
    columns = [np.ones(len(offsets))]
    if trend:
        columns.append(offsets / 12.0)
    if season:
        angle = 2 * np.pi * (end.month - 1 + offsets + 0.5) / 12.0
        columns += [np.cos(angle), np.sin(angle)]
    return np.array(columns).T


def fit_newcomers(
    jobs: pd.DataFrame,
    of_newcomer: np.ndarray,
    since: pd.Timestamp,
    as_of: pd.Timestamp,
    most_months: int = _MOST_MONTHS,
) -> Newcomers:
    """Learn from the jobs on pairs that nobody followed.

    Parameters
    ----------
    jobs : DataFrame
        `pair_id` and `received_on` of every job.
    of_newcomer : ndarray of bool, shape (jobs,)
        Whether it was the first job of a pair that nobody followed.
    since : Timestamp
        First day of the record.
    as_of : Timestamp
        Only whole months before this month are counted.
    most_months : int
        So many of them at most; fewer than twelve of them tell no trend.

    Returns
    -------
    Newcomers
        With no whole month, the prior alone.

    Raises
    ------
    BadFrame
        `received_on` holds missing days.
    """
    import statsmodels.api as sm  # noqa: PLC0415

    if jobs["received_on"].isna().any():
        raise BadFrame("jobs.received_on: a day is missing; every job has the day it was received")
    arrived_on = jobs["received_on"][of_newcomer]
    repeats = _repeats_per_day(jobs, of_newcomer, as_of)
    end = as_of.normalize().replace(day=1)
    start = (since.normalize() + pd.offsets.MonthBegin(0)).normalize()
    months = max(0, (end.year - start.year) * 12 + end.month - start.month)
    if months > most_months:
        start, months = end - pd.DateOffset(months=most_months), most_months
    place = (arrived_on.dt.year - start.year) * 12 + arrived_on.dt.month - start.month
    inside = place[(place >= 0) & (place < months)].to_numpy(int)
    counts = np.bincount(inside, minlength=months).astype(float)
    if months < 6 or counts.sum() < 5:
        total, span = counts.sum() + PRIOR_MONTHS * PRIOR_PER_MONTH, months + PRIOR_MONTHS
        form = _Form(1.0, False, False, np.array([np.log(total / span)]), np.array([[1 / total]]))
        return Newcomers((form,), 1.3, end, months, repeats)
    offsets = np.arange(-months, 0)
    fits = []
    for trend in (False, True) if months >= _MONTHS_FOR_TREND else (False,):
        for season in (False, True) if months >= _MONTHS_FOR_SEASON else (False,):
            design = _design(end, offsets, trend, season)
            fits.append((trend, season, sm.GLM(counts, design, sm.families.Poisson()).fit()))
    richest = fits[-1][2]
    # the variance of a few dozen counts is itself uncertain: shrink it towards Poisson's
    dispersion = (richest.pearson_chi2 + 10.0) / (richest.df_resid + 10.0)
    dispersion = max(1.0, float(dispersion))
    evidence = np.array(
        [-f.deviance / dispersion - len(f.params) * np.log(months) for *_, f in fits]
    )
    weights = np.exp(0.5 * (evidence - evidence.max()))
    forms = tuple(
        _Form(
            float(w),
            trend,
            season,
            *_shrunk(np.asarray(f.params), np.asarray(f.cov_params()) * dispersion, trend=trend),
        )
        for w, (trend, season, f) in zip(weights, fits, strict=True)
    )
    return Newcomers(forms, dispersion, end, months, repeats)


def _shrunk(mean: np.ndarray, cov: np.ndarray, *, trend: bool) -> tuple[np.ndarray, np.ndarray]:
    """Give the trend, if there is one, its prior."""
    if not trend:
        return mean, cov
    gain = cov[:, 1] / (cov[1, 1] + _TREND_SD**2)
    return mean - gain * mean[1], cov - np.outer(gain, cov[1])


def _repeats_per_day(jobs: pd.DataFrame, of_newcomer: np.ndarray, as_of: pd.Timestamp) -> float:
    """Later jobs of newcomers within a year of their first, over the days they had for it."""
    first = jobs[of_newcomer].set_index("pair_id")["received_on"]
    first = first[~first.index.duplicated()]
    came_first = pd.to_datetime(jobs["pair_id"].map(first.to_dict()))
    since_first = (jobs["received_on"] - came_first).dt.days
    repeats = ((since_first > 0) & (since_first <= _YEAR_DAYS) & ~of_newcomer).sum()
    watched = (as_of - first).dt.days.clip(0, _YEAR_DAYS).sum()
    return float((repeats + 0.1) / (watched + _YEAR_DAYS))
