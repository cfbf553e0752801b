"""Lead times.

How long do pairs of each week wait and stay, and when is a place free that is asked for today?
"""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd

__all__ = ["BOOKED_SHARE", "booking_waits", "lead_times"]

BOOKED_SHARE, LEAST_SHARE = 0.90, 0.75
_SHARES = {"wait_days": {"p50": 0.5, "p90": 0.9}, "lead_days": {"p10": 0.1, "p50": 0.5, "p90": 0.9}}


def lead_times(jobs: pd.DataFrame, as_of: pd.Timestamp, years: int) -> pd.DataFrame:
    """Wait for the bench and time away by week of reception.

    Parameters
    ----------
    jobs : DataFrame
        As `forecast.bench.year_ahead.BenchYears` holds them.

    Returns
    -------
    DataFrame
        `week_begins_on`, `jobs` a year; `wait_days_mean`, `_p50`, `_p90`; `lead_days_mean`, `_p10`,
        `_p50`, `_p90`. Weeks in which nothing comes are left out.
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
    return out.reset_index()


def booking_waits(
    jobs: pd.DataFrame, as_of: pd.Timestamp, open_days: np.ndarray
) -> tuple[tuple[date, int], ...]:
    """How many days before each day a place must be asked for, to be free by then.

    Nine in ten of all places asked for so are free in time. Whole days have shares a little over
    and under that; days over it make up for days under it, down to `LEAST_SHARE`. Shares are of the
    jobs that come in the week of the day of asking and in the weeks beside it.

    Parameters
    ----------
    open_days : ndarray of bool
        Whether the shop is open on each day after as_of.

    Returns
    -------
    tuple
        As `forecast.settings.ForecastSettings.bench_waits` takes them, every day until the last on
        which a job comes.
    """
    if jobs.empty:
        return ()
    opened = np.flatnonzero(open_days) + 1
    received, begun = (jobs[name].to_numpy(np.int64) for name in ("received_day", "begun_day"))
    share = _share_begun(
        (received - 1) // 7, np.searchsorted(opened, begun) - np.searchsorted(opened, received)
    )
    back = np.arange(share.shape[1])
    wanted = np.arange(1, int(received.max()) + 1)
    days = np.empty(len(wanted), np.int64)
    owed = 0.0
    for at, day in enumerate(wanted):
        last = np.searchsorted(opened, day, side="right") - 1
        # before today the wait of the first weeks stands, and every week has as many open days
        asked = opened[np.maximum(last - back, 0)]
        in_time = share[np.minimum((asked - 1) // 7, len(share) - 1), back]
        need = int((in_time >= BOOKED_SHARE).argmax())
        if need and in_time[need - 1] >= LEAST_SHARE:
            two = in_time[need - 1 : need + 1]
            need += int(np.abs(owed + BOOKED_SHARE - two).argmin()) - 1
        owed = float(np.clip(owed + BOOKED_SHARE - in_time[need], -1.0, 1.0))
        short = max(need - max(int(last), 0), 0) * len(open_days) / len(opened)
        days[at] = day - asked[need] + round(short)
    named = (as_of + pd.to_timedelta(wanted, unit="D")).date
    return tuple(zip(named, np.maximum(days, 0).tolist(), strict=True))


def _share_begun(week: np.ndarray, waits: np.ndarray) -> np.ndarray:
    """Share of the jobs around each week begun within so many open days, shape (weeks, days).

    A week around which nothing comes has the shares of the one before.
    """
    weeks, longest = int(week.max()) + 1, int(waits.max()) + 1
    count = np.bincount(week * longest + waits, minlength=weeks * longest).reshape(weeks, longest)
    beside = np.pad(count, ((1, 1), (0, 0)))
    count = count + beside[:-2] + beside[2:]
    total = count.sum(axis=1)
    known = np.where(total > 0, np.arange(weeks), -1)
    last = np.maximum(np.maximum.accumulate(known), np.argmax(known >= 0))
    return np.asarray((np.cumsum(count, axis=1) / np.maximum(total, 1)[:, None])[last])
