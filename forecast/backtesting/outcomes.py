"""Outcomes: when was each sole due, as far as the log itself can tell?

A sole was due between its last check above the limit and its first check at or below it, or with a
hole. A check that the next one contradicts is left out. Without such checks, the day of the
hand-over for a new sole counts, unless something says that the pair was sent early. A check shortly
before that was above the limit says so, and so does advice that the owner followed. Readings whose
line is clearly above the limit on that day say so too. Then the pair was not due as far as is
known. A sole that is still on was not due on the last day a check found it above its limit.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from solespan.forecast.layers.limits import ball_limits_mm
from solespan.forecast.layers.own_limits import with_own_limits
from solespan.forecast.log import WearLog
from solespan.forecast.priors import METHOD_SD_MM

__all__ = ["log_end", "outcomes", "soles_outcomes"]

_EARLY_DAYS = 45  # a check so shortly before the hand-over says how it went
_CLEARLY_ABOVE_MM = 0.2  # about the error of a caliper
_ABOVE_GRADES = ("firm", "give")
_RESOLES = ("full_sole", "half_sole")
_AT_HAND_OVER_DAYS = 7
_COLUMNS = (
    "pair_id", "sole_id", "kind", "days", "above_until_days", "by_days", "past_at_hand_over"
)  # fmt: skip


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
        new sole, `early`: handed over before it was due as far as is known, `open`: still on or off
        for good,
        `already`: at its limit by `as_of`), days (from `as_of` until due; NaN for the last three),
        above_until_days, by_days (from `as_of` until it was last known to be above its limit, and
        until it was known to be at it; infinite where it is not), past_at_hand_over (whether a
        check in the week before the hand-over found it at its limit; NaN without one).
    """
    return soles_outcomes(log, as_of)


def soles_outcomes(log: WearLog, as_of: pd.Timestamp | None) -> pd.DataFrame:
    """Say the same of every sole from the day it was fitted, where `as_of` is None."""
    soles = _with_limits(log)
    on = ~(soles["removed_on"] <= (soles["fitted_on"] if as_of is None else as_of))
    if as_of is not None:
        on &= soles["fitted_on"] <= as_of
    checks = _looks(log)
    by_sole = dict(tuple(checks.groupby("sole_id"))) if len(checks) else {}
    jobs = log.bench_jobs[log.bench_jobs["work"].isin(_RESOLES)]
    by_pair = {str(k): v for k, v in jobs.groupby("pair_id")}
    later = soles.groupby("pair_id")["fitted_on"].max()
    rows = []
    for sole in soles[on].to_dict("records"):
        looks = by_sole.get(sole["sole_id"])
        since = pd.Timestamp(sole["fitted_on"]) if as_of is None else as_of
        handed, advised = _handed_over(sole, by_pair.get(str(sole["pair_id"])), later, since)
        found = _outcome(sole, looks, handed, since, advised=advised)
        rows.append((*found, _past_at(looks, handed)))
    return pd.DataFrame(rows, columns=list(_COLUMNS))


def _with_limits(log: WearLog) -> pd.DataFrame:
    soles = with_own_limits(log.soles, log.layers, log.checks)
    own = soles["limit_mm"].to_numpy(float)
    return soles.assign(limit=np.where(np.isnan(own), ball_limits_mm(soles), own))


def _looks(log: WearLog) -> pd.DataFrame:
    """One row a sole and day on which the ball was looked at: sole_id, on, past, spare_mm."""
    checks = log.checks[log.checks["point"] == "ball"]
    soles = _with_limits(log).sort_values("fitted_on", kind="stable")
    if checks.empty or soles.empty:
        return pd.DataFrame({"sole_id": [], "on": [], "past": [], "spare_mm": []})
    joined = pd.merge_asof(
        checks.sort_values("checked_on", kind="stable"),
        soles[["pair_id", "sole_id", "fitted_on", "removed_on", "limit"]],
        left_on="checked_on",
        right_on="fitted_on",
        by="pair_id",
    )
    joined = joined[joined["sole_id"].notna() & ~(joined["checked_on"] > joined["removed_on"])]
    # of several checks of a foot on a day the most exact counts; a hole is a hole
    error_mm = joined["method"].map(METHOD_SD_MM).fillna(np.inf).where(joined["grade"] != "hole", 0)
    order = joined.assign(error_mm=error_mm).sort_values("error_mm", kind="stable")
    joined = order.drop_duplicates(["sole_id", "checked_on", "foot"])
    past = (joined["value_mm"] <= joined["limit"]) | (joined["grade"] == "hole")
    above = (joined["value_mm"] > joined["limit"]) | joined["grade"].isin(_ABOVE_GRADES)
    spare = joined["value_mm"] - joined["limit"]
    told = joined.assign(past=past, spare_mm=spare)[past | above]
    of_day = told.groupby(["sole_id", "checked_on"])
    days = of_day.agg(past=("past", "any"), spare_mm=("spare_mm", "min")).reset_index()
    days = days.rename(columns={"checked_on": "on"}).sort_values(["sole_id", "on"])
    following = days.groupby("sole_id")["past"].shift(-1)
    # what the next look contradicts was a misreading
    return days[~(days["past"] & (following == False))]  # noqa: E712 - missing is not False


def _handed_over(
    sole: dict[Any, Any], jobs: pd.DataFrame | None, later: pd.Series, as_of: pd.Timestamp
) -> tuple[pd.Timestamp | None, bool]:
    """Day on which the pair was handed over for a new sole, and whether that was advised."""
    removed = sole["removed_on"]
    if pd.isna(removed):
        return None, False
    if jobs is not None:
        received = jobs["received_on"]
        mine = jobs[(received <= removed) & (received > sole["fitted_on"])]
        if len(mine):
            last = mine.loc[mine["received_on"].idxmax()]
            return max(pd.Timestamp(last["received_on"]), as_of), bool(last["advised"])
    return pd.Timestamp(removed) if later[sole["pair_id"]] > sole["fitted_on"] else None, False


def _clearly_above(sole: dict[Any, Any], looks: pd.DataFrame | None, handed: pd.Timestamp) -> bool:
    """Whether the line from the new sole through its last reading is above the limit that day."""
    read = None if looks is None else looks[looks["spare_mm"].notna() & (looks["on"] <= handed)]
    if read is None or read.empty:
        return False
    last = read.iloc[-1]
    new_mm = float(sole["nominal_thickness_mm"]) - float(sole["limit"])
    worn_days = (last["on"] - sole["fitted_on"]).days
    if worn_days <= 0:
        return False
    loss_mm = max(new_mm - last["spare_mm"], 0.0) / worn_days
    return bool(last["spare_mm"] - loss_mm * (handed - last["on"]).days > _CLEARLY_ABOVE_MM)


def _past_at(looks: pd.DataFrame | None, handed: pd.Timestamp | None) -> float:
    """Whether the last look in the week before the hand-over found the limit passed: 1, 0, NaN."""
    if looks is None or handed is None:
        return np.nan
    ago = (handed - looks["on"]).dt.days
    near = looks[(ago >= 0) & (ago <= _AT_HAND_OVER_DAYS)]
    return float(near["past"].iloc[-1]) if len(near) else np.nan


def _outcome(
    sole: dict[Any, Any],
    looks: pd.DataFrame | None,
    handed: pd.Timestamp | None,
    as_of: pd.Timestamp,
    *,
    advised: bool,
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
    ago = after(handed) - after(max(before)) if before else np.inf
    clearly = _clearly_above(sole, looks, handed)
    if advised or clearly or ago <= _EARLY_DAYS:
        seen = ago <= _AT_HAND_OVER_DAYS or (clearly and ago <= _EARLY_DAYS)
        return (*names, "early", np.nan, after(handed) if seen else above, np.inf)
    return (*names, "resoled", after(handed), above, after(handed))
