"""Lead times.

How long do pairs of each week wait and stay, and how early must a place be asked for?
"""

from __future__ import annotations

import numpy as np
import pandas as pd

__all__ = ["BOOKED_SHARE", "lead_times", "waits_of"]

BOOKED_SHARE, LEAST_SHARE = 0.90, 0.88
_SHARES = {"wait_days": {"p50": 0.5, "p90": 0.9}, "lead_days": {"p10": 0.1, "p50": 0.5, "p90": 0.9}}


def lead_times(
    jobs: pd.DataFrame, as_of: pd.Timestamp, open_days: np.ndarray, years: int
) -> pd.DataFrame:
    """Wait for the bench and time away by week of reception.

    Parameters
    ----------
    jobs : DataFrame
        As `forecast.bench.year_ahead.BenchYears` holds them.
    open_days : ndarray of bool, shape (days,)
        Whether the shop is open on each day after as_of.

    Returns
    -------
    DataFrame
        `week_begins_on`, `jobs` a year; `wait_days_mean`, `_p50`, `_p90`; `lead_days_mean`, `_p10`,
        `_p50`, `_p90`; `booking_days`, the whole days in which nine jobs in ten come nearest to
        being begun. A closed week between others has the days of the next, and those until then.
    """
    day = as_of + pd.to_timedelta(jobs["received_day"], unit="D")
    monday = day - pd.to_timedelta(day.dt.day_of_week, unit="D")
    told = pd.DataFrame(
        {
            "week_begins_on": monday.astype("datetime64[s]"),
            "wait_days": jobs["begun_day"] - jobs["received_day"],
            "lead_days": jobs["back_day"] - jobs["received_day"],
        }
    ).groupby("week_begins_on")
    out = pd.DataFrame({"jobs": told.size() / max(years, 1)})
    for name, shares in _SHARES.items():
        out[f"{name}_mean"] = told[name].mean()
        for label, share in shares.items():
            out[f"{name}_{label}"] = told[name].quantile(share)
    out["booking_days"] = told["wait_days"].apply(_booking_days).astype(np.int64)
    return _with_closed_weeks(out, as_of, open_days).reset_index()


def waits_of(lead: pd.DataFrame) -> tuple[tuple[pd.Timestamp, int], ...]:
    """Return weeks and days as `forecast.settings.ForecastSettings.bench_waits` takes them."""
    return tuple(zip(lead["week_begins_on"].dt.date, lead["booking_days"].astype(int), strict=True))


def _booking_days(waits: pd.Series) -> int:
    """Give the whole days whose share of begun jobs is nearest to nine in ten, never far under."""
    count = np.bincount(np.maximum(waits.to_numpy(np.int64), 0))
    share = np.cumsum(count) / count.sum()
    days = int(np.argmin(np.abs(share - BOOKED_SHARE)))
    return days if share[days] >= LEAST_SHARE else int(np.argmax(share >= BOOKED_SHARE))


def _with_closed_weeks(
    told: pd.DataFrame, as_of: pd.Timestamp, open_days: np.ndarray
) -> pd.DataFrame:
    if told.empty:
        return told
    days = pd.date_range(as_of + pd.Timedelta(days=1), periods=len(open_days))
    opened = pd.Series(open_days, index=days).resample("W-MON", closed="left", label="left").max()
    shut = pd.DatetimeIndex(opened.index[~opened.to_numpy(bool)]).astype("datetime64[s]")
    shut = shut[(shut > told.index[0]) & (shut < told.index[-1])].difference(told.index)
    weeks = pd.DatetimeIndex(told.index.union(shut), name=told.index.name)
    whole = told.reindex(weeks)
    measured = list(whole.columns.drop("jobs"))
    for place in np.flatnonzero(weeks.isin(shut))[::-1]:
        until = (weeks[place + 1] - weeks[place]).days
        whole.iloc[place] = whole.iloc[place + 1] + until
    whole[measured] = whole[measured].astype(told.dtypes[measured].to_dict())
    return whole.assign(jobs=whole["jobs"].where(~weeks.isin(shut), 0.0))
