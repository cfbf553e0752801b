"""Known log: what did a shop know on a past day?

A log is cut at a day, and pairs are left out that nobody had heard of by then. A pair is heard of
when it comes in, is looked at or is worn for the first time in the log. It is heard of when it is
acquired, too, where the shop has pairs on record before their first job. Otherwise the day was told
at that job.
"""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from solespan.forecast.log import WearLog

__all__ = ["followed_pairs", "followed_since", "known_log", "known_since", "of_newcomer"]

_YEAR = pd.Timedelta(days=365)
_LEAST_WAITING = 0.5  # pairs before their first job, for each that came first in the last year


def known_since(log: WearLog) -> pd.Series:
    """Return the first day on which each pair was heard of, by `pair_id`; NaT = never."""
    parts = [followed_pairs(log), log.bench_jobs.groupby("pair_id")["received_on"].min()]
    return pd.concat(parts, axis=1).min(axis=1)


def followed_since(acquired_on: pd.Series, seen_on: pd.Series, received_on: pd.Series) -> pd.Series:
    """Return from which day on each pair was followed before any job, by `pair_id`; NaT = never.

    Parameters
    ----------
    acquired_on, seen_on, received_on : Series
        By `pair_id`: when it was acquired, first worn or looked at, and first received.
    """
    days = pd.concat([acquired_on, seen_on, received_on], axis=1, keys=["got", "seen", "came"])
    days = days.apply(pd.to_datetime)
    unseen = days["got"].notna() & ~(days["seen"] <= days["came"])
    waiting = (unseen & days["came"].isna() & days["seen"].isna()).sum()
    lately = days["came"] > days["came"].max() - _YEAR
    came_first = (unseen & lately & (days["got"] < days["came"])).sum()
    on_record = waiting >= _LEAST_WAITING * came_first
    got = days["got"] if on_record else days["got"].where(days["came"].isna())
    since: pd.Series = pd.concat([got, days["seen"]], axis=1).min(axis=1)
    return since


def followed_pairs(log: WearLog) -> pd.Series:
    """Return `followed_since` of the pairs of a log."""
    seen = [
        log.checks.groupby("pair_id")["checked_on"].min(),
        log.wear_days.groupby("pair_id")["worn_on"].min(),
    ]
    return followed_since(
        log.pairs.set_index("pair_id")["acquired_on"],
        pd.concat(seen, axis=1).min(axis=1),
        log.bench_jobs.groupby("pair_id")["received_on"].min(),
    )


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
        `followed_since` of the pairs.
    """
    before = pd.to_datetime(jobs["pair_id"].map(followed.to_dict())) < jobs["received_on"]
    first: pd.Series = ~jobs["pair_id"].duplicated() & ~before
    return first
