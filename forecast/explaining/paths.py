"""Thickness by day: how thick has each sole of a pair been, day by day, and how thick will it be?

Behind today: the fitted thickness given every check until today. Ahead of today: the same draws
that give the dates in `forecast.dates.due`. So the share of draws under the limit on a day is the
chance of being due by then. The quantiles of thickness meet the limit on the quantiles of the date.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import ndtri

from solespan.forecast.dates.due_draws import due_draws
from solespan.forecast.dates.first_passage import normal_points
from solespan.forecast.explaining.one_pair import OnePair, one_pair
from solespan.forecast.frames import FEET, PATH, WEARING_POINTS
from solespan.forecast.log import WearLog
from solespan.forecast.model.wear_fit import WearFit
from solespan.forecast.model.wear_model import Conditioned
from solespan.forecast.settings import ForecastSettings

__all__ = ["wear_path"]

_WEEK = 7
_WEEKLY_UNTIL, _THEN_EVERY = 366, 28
_SHORTEST_DAYS = 28
_LAST_SHARE = 0.95
_BEND_MATTERS_MM = 0.03
_QUANTILES = (0.10, 0.50, 0.90)


def wear_path(
    fit: WearFit,
    log: WearLog,
    pair_id: str,
    as_of: str | pd.Timestamp,
    settings: ForecastSettings | None = None,
    *,
    known: Conditioned | None = None,
) -> pd.DataFrame:
    """Follow the thickness of every sole of one pair, past and to come.

    Parameters
    ----------
    fit : WearFit
    log : WearLog
        At least the whole rack of the pair's wearer.
    pair_id : str
    as_of : date-like
        The day of the forecast; nothing later is used.
    settings : ForecastSettings, optional
        Its horizon ends the path, if the limit does not.
    known : Conditioned, optional
        Posterior of the wearer's rack on that day, where it is at hand.

    Returns
    -------
    DataFrame
        Columns of `forecast.frames.PATH`. Past rows are weekly and on check days, until `as_of` or
        the sole's last day. Rows ahead are weekly for a year, then every four weeks, until the sole
        is almost surely at its limit.

    Raises
    ------
    BadFrame
        The log has no such pair.
    TooLittleData
        No sole was on it by `as_of`.

    Examples
    --------
    >>> from solespan.forecast import WearModel, wear_log, wear_path
    >>> from solespan.synthetic_data.scenarios import world
    >>> made = world("score_world", seed=1, n_pairs=2)
    >>> log = wear_log(**made.frames)
    >>> fit = WearModel(log, as_of="2026-11-23").fit()
    >>> path = wear_path(fit, log, "P0001", as_of="2026-11-23")
    >>> left = path[(path["foot"] == "left") & (path["point"] == "ball") & path["ahead"]]
    >>> bool(left["thickness_mm_p50"].is_monotonic_decreasing)
    True
    """
    mine = one_pair(fit, log, pair_id, as_of, settings, known)
    panel = mine.known.panel
    parts = [
        rows
        for sole in np.flatnonzero(panel.sole_pair == mine.pair)
        for rows in _past(mine, int(sole))
    ]
    if len(mine.feet.left):
        parts += _ahead(mine)
    path = np.concatenate([np.full(len(p.days), p.path) for p in parts])
    days = np.concatenate([p.days for p in parts])
    thickness = np.concatenate([p.thickness_mm for p in parts], axis=1)
    sole, point = panel.path_sole[path], panel.path_point[path]
    frame = pd.DataFrame(
        {
            "pair_id": mine.pair_id,
            "sole_id": panel.sole_ids[sole],
            "foot": np.array(FEET, dtype=object)[panel.path_foot[path]],
            "point": np.array(WEARING_POINTS, dtype=object)[point],
            "on_date": days.astype("datetime64[D]").astype("datetime64[s]"),
            "thickness_mm_p10": thickness[0],
            "thickness_mm_p50": thickness[1],
            "thickness_mm_p90": thickness[2],
            "limit_mm": panel.limit_mm[path],
            "ahead": np.concatenate([np.full(len(p.days), p.ahead) for p in parts]),
        }
    )
    order = np.lexsort((days, panel.path_foot[path], point, sole))
    return frame.iloc[order][[c.name for c in PATH]].reset_index(drop=True)


@dataclass(frozen=True)
class _Rows:
    """One path's rows: `days` (n,), `thickness_mm` (quantiles, n), whether they lie ahead."""

    path: int
    days: np.ndarray
    thickness_mm: np.ndarray
    ahead: bool


def _past(mine: OnePair, sole: int) -> list[_Rows]:
    """Fitted thickness of one sole until its last day or today."""
    known = mine.known
    panel = known.panel
    paths = np.flatnonzero(panel.path_sole == sole)
    fitted, last = panel.sole_fitted[sole], panel.target_day[panel.path_end[paths[0]]]
    checked = panel.target_day[panel.target_sole == sole]
    days = np.unique(np.concatenate([np.arange(fitted, last, _WEEK), checked, [last]]))
    days = days[(days >= fitted) & (days <= last)]
    out = []
    for normal in known.thickness(mine.log, sole, days):
        thickness = _quantiles(
            normal.mean_mm,
            np.diag(normal.cov)[:-1],
            normal.cov[:-1, -1],
            float(normal.cov[-1, -1]),
            normal.wear_mm,
        )
        out.append(_Rows(normal.path, days, np.maximum(thickness, 0.0), ahead=False))
    return out


def _quantiles(
    mean: np.ndarray,
    variance: np.ndarray,
    with_rate: np.ndarray,
    rate_variance: float,
    wear_mm: np.ndarray,
) -> np.ndarray:
    """Quantiles of thickness, with what the straight line through exp(log rate) leaves out.

    Parameters
    ----------
    mean, variance, with_rate : ndarray, shape (n,)
        Of the thickness, and its covariance with the log rate.
    rate_variance : float
        Of the log rate.
    wear_mm : ndarray, shape (n,)
        Expected wear.

    Returns
    -------
    ndarray, shape (quantiles, n)
    """
    if 0.5 * rate_variance * wear_mm.max(initial=0.0) < _BEND_MATTERS_MM:
        return np.asarray(mean + np.outer(ndtri(_QUANTILES), np.sqrt(np.maximum(variance, 0.0))))
    points = normal_points()[:2]
    off = np.sqrt(rate_variance) * points[0]
    slope = with_rate / rate_variance
    alone = np.sqrt(np.maximum(variance - slope * with_rate, 0.0))
    bend = 1.0 + off - np.exp(off - 0.5 * rate_variance)
    draws = np.outer(slope, off) + np.outer(alone, points[1]) + np.outer(wear_mm, bend)
    draws.sort(axis=-1)
    at = [int(share * draws.shape[-1]) for share in _QUANTILES]
    return np.asarray(mean + draws[:, at].T)


def _ahead(mine: OnePair) -> list[_Rows]:
    """Thickness to come of the sole on the pair now, from the draws that give its dates.

    Each draw goes from its thickness today to the limit on its due day, as the season's days pass.
    It then goes on below the limit. So the draws under the limit on a day are those that are due by
    then.
    """
    known, settings = mine.known, mine.settings
    panel, feet = known.panel, mine.feet
    state = known.state(feet)
    draws = due_draws(known, feet, state)
    due_days = draws.days[:2]
    last = np.quantile(due_days, _LAST_SHARE, axis=-1, method="inverted_cdf").max()
    days = _days_ahead(min(max(float(last), _SHORTEST_DAYS), settings.horizon_days))
    season = known.ahead.season_days(np.array([mine.pair]))[0]
    passing = season[days]
    parts = []
    for foot, paths in enumerate((feet.left, feet.right)):
        for group, path in enumerate(paths):
            today = draws.thickness_mm[foot, group]
            loss = _loss_per_day(
                today - panel.limit_mm[path],
                due_days[foot, group],
                draws.rate_mm[foot, group] * known.ahead.per_day[mine.pair],
                season,
            )
            ordered = np.sort(today - np.outer(passing, loss), axis=-1)
            at = [int(share * ordered.shape[-1]) for share in _QUANTILES]
            still = _settling(mine, state.settling_mm[foot, group], path, days)
            thickness = np.maximum(ordered[:, at].T + still, 0.0)
            parts.append(_Rows(int(path), panel.as_of_day + days, thickness, ahead=True))
    return parts


def _loss_per_day(
    spare_mm: np.ndarray, due_days: np.ndarray, pace_mm: np.ndarray, season: np.ndarray
) -> np.ndarray:
    """Loss of each draw per day at the mean pace, mm.

    Parameters
    ----------
    spare_mm, due_days, pace_mm : ndarray, shape (draws,)
        Thickness above the limit today, the day the limit is reached, the expected loss.
    season : ndarray, shape (horizon + 2,)
        Cumulative season factor by day.
    """
    until = np.interp(np.where(np.isfinite(due_days), due_days, 0.0), range(len(season)), season)
    reached = spare_mm / np.maximum(until, 1e-9)
    slower = np.minimum(pace_mm, spare_mm / season[-1])
    return np.where(spare_mm <= 0.0, pace_mm, np.where(np.isfinite(due_days), reached, slower))


def _days_ahead(end: float) -> np.ndarray:
    """Days from today: weekly for a year, then every four weeks, the last one `end`."""
    last = int(np.ceil(end))
    weekly = np.arange(_WEEK, min(last, _WEEKLY_UNTIL) + 1, _WEEK)
    later = np.arange(_WEEKLY_UNTIL, last + 1, _THEN_EVERY)
    return np.unique(np.concatenate([weekly, later, [last]]))


def _settling(mine: OnePair, settling_mm: float, path: int, days: np.ndarray) -> np.ndarray:
    """Packing still to come after so many days, of `settling_mm` to come today."""
    ahead = mine.known.ahead
    wear_days = ahead.per_day[mine.pair] * ahead.season_days(np.array([mine.pair]))[0, days]
    still = max(float(mine.known.packing_days[path]), 1e-9)
    return np.asarray(settling_mm * np.maximum(1.0 - wear_days / still, 0.0))
