"""Known log: what did a shop know on a past day?

A log is cut at a day, and pairs are left out that nobody had heard of by then. A pair is heard of
when it is acquired, comes in, is looked at or is worn for the first time in the log.
"""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from solespan.forecast.log import WearLog

__all__ = ["known_log", "known_since", "of_newcomer"]

_DAYS = (("bench_jobs", "received_on"), ("checks", "checked_on"), ("wear_days", "worn_on"))


def known_since(log: WearLog) -> pd.Series:
    """Return the first day on which each pair was heard of, by `pair_id`; NaT = never."""
    parts = [log.pairs.set_index("pair_id")["acquired_on"]]
    parts += [getattr(log, name).groupby("pair_id")[day].min() for name, day in _DAYS]
    return pd.concat(parts, axis=1).min(axis=1)


def known_log(log: WearLog, day: pd.Timestamp) -> WearLog:
    """Return the log as it was on the evening of a day, without pairs not heard of by then."""
    since = known_since(log)
    ids = set(since.index[since <= day])
    cut = log.until(day)
    kept = {
        name: frame[frame["pair_id"].isin(ids)].reset_index(drop=True)
        for name in ("pairs", "soles", "wear_days", "checks", "bench_jobs")
        for frame in (getattr(cut, name),)
    }
    owners = cut.wearers["wearer_id"].isin(set(kept["pairs"]["wearer_id"]))
    return replace(cut, wearers=cut.wearers[owners].reset_index(drop=True), **kept)


def of_newcomer(jobs: pd.DataFrame, followed: pd.Series) -> pd.Series:
    """Whether each job is the first of a pair that nobody followed before it came in.

    Parameters
    ----------
    jobs : DataFrame
        `pair_id` and `received_on`, in the order of reception.
    followed : Series
        By pair, the first day on which it was worn or looked at in the log.
    """
    before = pd.to_datetime(jobs["pair_id"].map(followed.to_dict())) < jobs["received_on"]
    first: pd.Series = ~jobs["pair_id"].duplicated() & ~before
    return first
