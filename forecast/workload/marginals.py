"""Marginal distributions.

How are the days until each point is due spread, as one table that draws quickly?

A stored forecast row holds quantiles of the due date and chances by day; together they pin the
distribution at a dozen places. `due_table` lays every row out on one grid of probabilities.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import ndtri

from solespan.forecast.frames import CHANCE_DAYS, DUE_QUANTILES
from solespan.forecast.layers.limits import ball_limits_mm

__all__ = ["EARLY_SHARE", "LIFE_LOG_SD", "DueTable", "due_table"]

GRID = 129
_SMALL = 1e-9
DEFAULT_LIMIT_MM = 2.0  # common practice, no source
# Who logs looks at the sole, and may bring it in this share of its life before it is due; no source
EARLY_SHARE = 0.10
# of a sole's life against that of the one before, where its owner does not log and does; no source
LIFE_LOG_SD = np.array([0.40, 0.25])
NEW_SOLE_DAYS = 30  # a pair at the shop with so new a sole comes back with it
_WORN_LATELY_DAYS = 60
_LOGS_DAYS = 365
_LONGEST_DAYS = 1826.0
_OF_SOLE = ["fitted_on", "removed_on", "nominal_thickness_mm", "limit_mm"]
_OPENING = ("overdue_days", "early_days")


@dataclass(frozen=True)
class DueTable:
    """Distribution of the days until due, one row a pair and point.

    rows : DataFrame
        `pair_id`, `wearer` (place among all who own pairs), `point`, `sole_age_days`,
        `overdue_days`, `in_use` (chance that the pair is still worn and its owner still a
        customer), `logs` (whether its owner logs wear), `early_days` (how long before the date the
        owner may come), one row each.
    quantile_days : ndarray, shape (n, GRID)
        Quantiles at probabilities 0 to 1 in equal steps; inf = beyond what the forecast tells.
    """

    rows: pd.DataFrame
    quantile_days: np.ndarray

    def days_at(self, row: np.ndarray, share: np.ndarray) -> np.ndarray:
        """Days until due of some rows, at shares 0 to 1 of their distributions, shape (m,)."""
        place = share * (GRID - 1)
        low = np.minimum(place.astype(np.int64), GRID - 2)
        flat = self.quantile_days.ravel()
        at = row * GRID + low
        first, second = flat[at], flat[at + 1]
        with np.errstate(invalid="ignore"):
            out = first + (place - low) * (second - first)
        return np.asarray(np.where(np.isfinite(second), out, np.inf))

    @property
    def opening_days(self) -> np.ndarray:
        """Grid of the days until the owner of each row may come; negative: since when."""
        column = {name: self.rows[name].to_numpy(float)[:, None] for name in _OPENING}
        days = np.where(self.quantile_days <= 0.0, -column["overdue_days"], self.quantile_days)
        return np.asarray(days - column["early_days"])

    @property
    def logs_share(self) -> float:
        """Share of the pairs whose owner logs wear."""
        return float(self.rows["logs"].mean()) if len(self.rows) else 0.0

    def share_open(self, days: float) -> np.ndarray:
        """Share of each row's grid with which its owner may come before so many days, shape (n,).

        It is rounded up.
        """
        early = self.rows["early_days"].to_numpy(float)[:, None]
        share = (self.quantile_days < days + early).sum(axis=1) / (GRID - 1)
        return np.asarray(np.minimum(share, 1.0))

    def part(self, chosen: slice) -> DueTable:
        """Return some rows of it."""
        return DueTable(self.rows.iloc[chosen], self.quantile_days[chosen])


def due_table(
    forecast: pd.DataFrame,
    soles: pd.DataFrame,
    pairs: pd.DataFrame,
    last_worn_on: pd.Series | None = None,
) -> DueTable:
    """Lay out the pairs' due dates for drawing.

    Parameters
    ----------
    forecast : DataFrame
        Columns `frames.FORECAST`; the rows of feet and of retired pairs are not used. A pair that
        is at the shop for a sole counts with its next sole.
    soles, pairs : DataFrame
        Tables of `frames.TABLES`.
    last_worn_on : Series, optional
        Last day in the log on which each pair was worn, by `pair_id`. A pair that was worn lately
        is in use.

    Returns
    -------
    DueTable
        Sorted by wearer, pair and point.
    """
    main = forecast[(forecast["foot"] == "pair") & (forecast["band"] != "retired")]
    own = soles["limit_mm"].to_numpy(float)
    if np.isnan(own).any():
        soles = soles.assign(limit_mm=np.where(np.isnan(own), ball_limits_mm(soles), own))
    frame = main.join(soles.set_index("sole_id")[_OF_SOLE], on="sole_id")
    frame = frame.assign(wearer_id=frame["pair_id"].map(pairs.set_index("pair_id")["wearer_id"]))
    age = (frame["as_of"] - frame["fitted_on"]).dt.days.astype(float)
    # a missing band or chance means that nothing is known of the pair: it cannot be counted
    told = frame["chance_now"].notna()
    away, bare = frame["band"] == "away", frame["removed_on"].notna() & ~told
    known = told & (~away | (age <= NEW_SOLE_DAYS)) | (away & bare & (frame["point"] == "ball"))
    frame = frame.assign(age=age)[known]
    frame = frame.sort_values(["wearer_id", "pair_id", "point"], ignore_index=True)
    bare = frame["chance_now"].isna()
    age = frame["age"].clip(lower=1.0).fillna(365.0).mask(bare, 1.0)
    owners = frame["wearer_id"].to_numpy(str)
    rows = pd.DataFrame(
        {
            "pair_id": frame["pair_id"],
            "wearer": np.searchsorted(np.unique(pairs["wearer_id"].to_numpy(str)), owners),
            "point": frame["point"],
            "sole_age_days": age,
            "overdue_days": _overdue_days(frame, age),
            "in_use": frame["chance_in_use"].fillna(1.0),
        }
    )
    quiet = _quiet_days(frame, last_worn_on)
    quantile_days = np.empty((len(frame), GRID))
    quantile_days[~bare] = _quantiles(frame[~bare])
    logs = (quiet.groupby(rows["wearer"]).transform("min") <= _LOGS_DAYS).to_numpy(bool)
    quantile_days[bare] = _next_sole(frame[bare], logs[bare])
    middle = np.minimum(quantile_days[:, GRID // 2], _LONGEST_DAYS)
    early = EARLY_SHARE * (age + middle - rows["overdue_days"]).clip(lower=0.0)
    rows = rows.assign(
        in_use=rows["in_use"].mask(quiet <= _WORN_LATELY_DAYS, 1.0),
        logs=logs,
        early_days=early.where(logs, 0.0),
    )
    return DueTable(rows, quantile_days)


def _next_sole(frame: pd.DataFrame, logs: np.ndarray) -> np.ndarray:
    """Quantiles of pairs at the shop: their next sole is taken to live about as long as the last.

    The new sole is not on yet.
    """
    life = (frame["removed_on"] - frame["fitted_on"]).dt.days.clip(lower=1).to_numpy(float)
    shares = np.linspace(0.0, 1.0, GRID).clip(0.5 / GRID, 1.0 - 0.5 / GRID)
    return np.asarray(
        life[:, None] * np.exp(np.outer(LIFE_LOG_SD[logs.astype(int)], ndtri(shares)))
    )


def _quiet_days(frame: pd.DataFrame, last_worn_on: pd.Series | None) -> pd.Series:
    """Days since each pair was last worn in the log; inf = never."""
    worn_on = {} if last_worn_on is None else last_worn_on.to_dict()
    since = pd.to_datetime(frame["as_of"]) - pd.to_datetime(frame["pair_id"].map(worn_on))
    return since.dt.days.astype(float).fillna(np.inf)


def _overdue_days(frame: pd.DataFrame, age: pd.Series) -> np.ndarray:
    """How long ago a point at its limit passed it, at the pace its sole was worn; 0 if unknown."""
    at_ball = frame[(frame["point"] == "ball")].assign(age=age)
    worn_mm = at_ball["nominal_thickness_mm"] - at_ball["thickness_mm_p50"]
    per_day = worn_mm.clip(lower=0.05) / at_ball["rate_mm_per_wear_day_p50"] / at_ball["age"]
    paces = dict(zip(at_ball["pair_id"], per_day, strict=True))
    pace = frame["pair_id"].map(paces).astype(float)  # without rows, pyarrow would keep text
    limit = frame["limit_mm"].where(frame["point"] == "ball").fillna(DEFAULT_LIMIT_MM)
    past_mm = limit - frame["thickness_mm_p50"]
    days = past_mm / frame["rate_mm_per_wear_day_p50"] / pace
    days = days.astype(float).replace([np.inf, -np.inf], np.nan).clip(0.0, 3650.0).fillna(0.0)
    return np.where(frame["chance_now"] >= 0.5, days, 0.0)


def _quantiles(frame: pd.DataFrame) -> np.ndarray:
    """Quantiles of every row on the grid, from its dates and chances."""
    as_of = frame["as_of"].to_numpy().astype("datetime64[D]")
    dates = np.array([frame[name].to_numpy().astype("datetime64[D]") for name in DUE_QUANTILES])
    days_of_dates = np.where(np.isnat(dates), np.inf, (dates - as_of).astype(float))
    n = len(frame)
    shares = np.concatenate(
        [
            np.repeat(np.array(list(DUE_QUANTILES.values()))[:, None], n, axis=1),
            np.array([frame[name].to_numpy(float) for name in CHANCE_DAYS]),
        ]
    )
    days = np.concatenate(
        [days_of_dates, np.repeat(np.array([*CHANCE_DAYS.values()], float)[:, None], n, axis=1)]
    )
    order = np.lexsort((shares, days), axis=0)
    days = np.take_along_axis(days, order, axis=0)
    shares = np.maximum.accumulate(np.take_along_axis(shares, order, axis=0), axis=0)
    grid = np.linspace(0.0, 1.0, GRID)
    out = np.empty((n, GRID))
    for i in range(n):
        known = np.isfinite(days[:, i])
        d, s = days[known, i], shares[known, i]
        # from above: the first day by which a share is reached, so that chance_now becomes day 0
        last_share, last_day = s[-1], d[-1]
        row = np.interp(grid, s + _SMALL * np.arange(len(s)), d)
        beyond = grid > last_share
        if last_share >= 0.9:
            half = d[np.searchsorted(s, 0.5)]
            stretch = np.log((1 - 0.5) / np.maximum(1 - grid[beyond], 1e-3)) / np.log(
                0.5 / (1 - min(last_share, 0.999))
            )
            row[beyond] = half + (last_day - half) * np.maximum(stretch, 1.0)
        else:
            row[beyond] = np.inf
        row[grid <= s[0]] = d[0] if d[0] <= 0 else d[0] * grid[grid <= s[0]] / max(s[0], _SMALL)
        out[i] = row
    return out
