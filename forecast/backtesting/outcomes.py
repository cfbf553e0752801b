"""Outcomes: when was each sole due, as far as the log itself can tell?

A sole was due between its last check above the limit and its first check at or below it, or with a
hole. A check that the next one contradicts is left out. The middle of that stretch counts. Without
such checks, the day of the hand-over for a new sole counts. If a check shortly before found it
above the limit, it was sent early. Then we know only that it was not due by that day. A sole that
is still on was not due on the last day a check found it above its limit.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from solespan.forecast.layers.limits import ball_limits_mm
from solespan.forecast.log import WearLog

__all__ = ["log_end", "outcomes"]

_EARLY_DAYS = 45  # a check so shortly before the hand-over says how it went
_ABOVE_GRADES = ("firm", "give")
_RESOLES = ("full_sole", "half_sole")
_COLUMNS = ("pair_id", "sole_id", "kind", "days", "above_until_days", "by_days")


def log_end(log: WearLog) -> pd.Timestamp:
    """Give the last day on which anything was logged."""
    dates = [
        log.wear_days["worn_on"],
        log.checks["checked_on"],
        log.soles["fitted_on"],
        log.soles["removed_on"],
        log.bench_jobs["received_on"],
    ]
    return pd.Timestamp(max(d.max() for d in dates if d.notna().any()))


def outcomes(log: WearLog, as_of: pd.Timestamp) -> pd.DataFrame:
    """Say what became of every sole that was on a pair on `as_of`.

    Returns
    -------
    DataFrame
        pair_id, sole_id, kind (`seen`: a check found the limit passed, `resoled`: handed over for a
        new sole, `early`: handed over while still above, `open`: still on or taken off for good,
        `already`: at its limit by `as_of`), days (from `as_of` until due; NaN for the last three),
        above_until_days, by_days (from `as_of` until it was last known to be above its limit, and
        until it was known to be at it; infinite where it is not).
    """
    soles = log.soles
    on = (soles["fitted_on"] <= as_of) & ~(soles["removed_on"] <= as_of)
    checks = _looks(log)
    by_sole = dict(tuple(checks.groupby("sole_id"))) if len(checks) else {}
    jobs = log.bench_jobs[log.bench_jobs["work"].isin(_RESOLES)]
    by_pair = {str(k): v for k, v in jobs.groupby("pair_id")}
    later = soles.groupby("pair_id")["fitted_on"].max()
    rows = []
    for sole in soles[on].to_dict("records"):
        looks = by_sole.get(sole["sole_id"])
        handed = _handed_over(sole, by_pair.get(str(sole["pair_id"])), later, as_of)
        rows.append(_outcome(sole, looks, handed, as_of))
    return pd.DataFrame(rows, columns=list(_COLUMNS))


def _looks(log: WearLog) -> pd.DataFrame:
    """One row a sole and day on which the ball was looked at: sole_id, on, past (bool)."""
    checks = log.checks[log.checks["point"] == "ball"]
    soles = log.soles.sort_values("fitted_on", kind="stable")
    own = soles["limit_mm"].to_numpy(float)
    soles = soles.assign(limit=np.where(np.isnan(own), ball_limits_mm(soles), own))
    if checks.empty or soles.empty:
        return pd.DataFrame({"sole_id": [], "on": [], "past": []})
    joined = pd.merge_asof(
        checks.sort_values("checked_on", kind="stable"),
        soles[["pair_id", "sole_id", "fitted_on", "removed_on", "limit"]],
        left_on="checked_on",
        right_on="fitted_on",
        by="pair_id",
    )
    joined = joined[joined["sole_id"].notna() & ~(joined["checked_on"] > joined["removed_on"])]
    past = (joined["value_mm"] <= joined["limit"]) | (joined["grade"] == "hole")
    above = (joined["value_mm"] > joined["limit"]) | joined["grade"].isin(_ABOVE_GRADES)
    told = joined.assign(past=past)[past | above]
    days = told.groupby(["sole_id", "checked_on"])["past"].any().reset_index()
    days = days.rename(columns={"checked_on": "on"}).sort_values(["sole_id", "on"])
    following = days.groupby("sole_id")["past"].shift(-1)
    # what the next look contradicts was a misreading
    return days[~(days["past"] & (following == False))]  # noqa: E712 - missing is not False


def _handed_over(
    sole: dict[Any, Any], jobs: pd.DataFrame | None, later: pd.Series, as_of: pd.Timestamp
) -> pd.Timestamp | None:
    """Day on which the pair was handed over for a new sole; None if it was not."""
    removed = sole["removed_on"]
    if pd.isna(removed):
        return None
    if jobs is not None:
        received = jobs["received_on"]
        mine = received[(received <= removed) & (received > sole["fitted_on"])]
        if len(mine):
            return max(pd.Timestamp(mine.max()), as_of)
    return pd.Timestamp(removed) if later[sole["pair_id"]] > sole["fitted_on"] else None


def _outcome(
    sole: dict[Any, Any],
    looks: pd.DataFrame | None,
    handed: pd.Timestamp | None,
    as_of: pd.Timestamp,
) -> tuple[Any, ...]:
    def after(day: pd.Timestamp) -> float:
        return float((day - as_of).days)

    names = (sole["pair_id"], sole["sole_id"])
    past_on: list[pd.Timestamp] = []
    above_on: list[pd.Timestamp] = []
    if looks is not None:
        past_on, above_on = (list(looks.loc[looks["past"] == p, "on"]) for p in (True, False))
    first_past = min(past_on, default=None)
    if first_past is not None and first_past <= as_of:
        return (*names, "already", np.nan, np.nan, np.nan)
    before = [on for on in above_on if first_past is None or on < first_past]
    above = max(after(max(before)), 0.0) if before else 0.0
    if first_past is not None:
        return (*names, "seen", 0.5 * (above + after(first_past)), above, after(first_past))
    if handed is None:
        return (*names, "open", np.nan, above, np.inf)
    if before and after(handed) - after(max(before)) <= _EARLY_DAYS:
        return (*names, "early", np.nan, after(handed), np.inf)
    return (*names, "resoled", after(handed), above, after(handed))
