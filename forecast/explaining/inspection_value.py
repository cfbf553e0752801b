"""Which check would narrow a pair's date most?

A reading that has not been taken yet is normal, jointly with today's thickness and rates; taking it
would shrink their covariance by an amount that does not depend on what it reads, and move their
mean by one that does (a preposterior analysis: Raiffa and Schlaifer, Applied Statistical Decision
Theory, 1961). A thumb grade counts as a reading with the variance that its information is worth on
average over the grades to expect.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
from scipy.special import ndtr

from solespan.forecast.dates.due_draws import due_draws
from solespan.forecast.explaining.joint import sole_normal
from solespan.forecast.explaining.one_pair import OnePair
from solespan.forecast.explaining.wear_curve import curve, smoothed, worn_by
from solespan.forecast.frames import FEET, METHODS
from solespan.forecast.model.linearise import Noise
from solespan.forecast.model.parameter_layout import INTERFACE, SILENT
from solespan.forecast.model.sole_state import SoleState
from solespan.forecast.observation.thumb import ThumbScale, grade_information
from solespan.forecast.panel.panel import GAUGES

__all__ = ["COLUMNS", "interval_days", "joint_of_feet", "next_checks"]

COLUMNS = ("foot", "point", "method", "interval_days_now", "interval_days_after")
_GAUGE, _THUMB = INTERFACE.index("gauge"), INTERFACE.index("thumb")
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(9)
_OUTCOMES, _CHANCES = np.polynomial.hermite_e.hermegauss(3)


def next_checks(mine: OnePair) -> pd.DataFrame:
    """Find the expected 80 % interval of the resole date after one more check at the ball.

    Returns
    -------
    DataFrame
        foot, point, method, interval_days_now, interval_days_after; the greatest gain first. Days
        from the 10 % to the 90 % quantile, both cut at the horizon. Empty without a sole on.
    """
    if not len(mine.ball.left):
        return pd.DataFrame({name: [] for name in COLUMNS})
    known = mine.known
    feet = mine.ball
    now = known.state(feet)
    width_now = interval_days(mine, now)
    cov, readings = joint_of_feet(mine)
    rows = []
    for foot, name in enumerate(FEET):
        for method in METHODS:
            cross, variance = readings[foot, method == "thumb"]
            path = (feet.left, feet.right)[foot][0]
            shift = (known.centre + known.deviation)[_THUMB, path]
            mean, sd = now.mean[2 * foot + 1, 0], np.sqrt(cov[2 * foot + 1, 2 * foot + 1])
            error = _error_variance(mine.fit.noise, method, float(mean + shift), float(sd))
            gain = cross / np.sqrt(variance + error)
            width = _expected_width(mine, now, cov - np.outer(gain, gain), gain)
            rows.append((name, "ball", method, width_now, min(width, width_now)))
    frame = pd.DataFrame(rows, columns=list(COLUMNS))
    return frame.sort_values("interval_days_after", kind="stable").reset_index(drop=True)


def _expected_width(mine: OnePair, now: SoleState, cov: np.ndarray, gain: np.ndarray) -> float:
    """Width after a reading, averaged over what it may read; `gain` moves the mean per its SD."""
    factor = np.linalg.cholesky(cov + 1e-10 * np.eye(len(cov)))[:, :, None]
    widths = [
        interval_days(mine, replace(now, mean=now.mean + z * gain[:, None], factor=factor))
        for z in _OUTCOMES
    ]
    return float(np.average(widths, weights=_CHANCES))


def interval_days(mine: OnePair, state: SoleState) -> float:
    """Days from the 10 % to the 90 % quantile of the resole date, cut at the horizon."""
    feet = mine.ball
    draws = due_draws(mine.known, state, feet.left, feet.right, mine.fit)
    days = np.minimum(draws.days[2, 0], mine.settings.horizon_days)
    low, high = np.quantile(days, [0.1, 0.9])
    return float(high - low)


def joint_of_feet(
    mine: OnePair,
) -> tuple[np.ndarray, dict[tuple[int, bool], tuple[np.ndarray, float]]]:
    """Covariance of (log rate, settled thickness) of both feet, and of readings not yet taken.

    Returns
    -------
    cov : ndarray, shape (4, 4) or (5, 5)
        In the order of `SoleState`, with the pace of unlogged days where it has one.
    readings : dict of (foot, by thumb) to (covariance with those, variance without error)
    """
    known, panel = mine.known, mine.known.panel
    paths = np.array([mine.ball.left[0], mine.ball.right[0]])
    sole = int(panel.path_sole[paths[0]])
    end = np.array([panel.target_day[panel.path_end[paths[0]]]])
    worn = worn_by(known, mine.log, sole, end)
    joint = sole_normal(known, paths).interface_cov
    width = joint.shape[1]
    size = len(known.state(mine.ball).mean)
    asked = np.zeros((size, 2, width))
    asked[4:, 0, SILENT] = 1.0
    seen = {}
    walk = np.zeros(size)
    for foot, path in enumerate(paths):
        here = curve(known, int(path), worn)
        _, columns, left_over = smoothed(known, mine.fit.noise, int(path), here)
        asked[2 * foot, foot, 2] = 1.0
        asked[2 * foot + 1, foot] = columns[:, 0]
        asked[2 * foot + 1, foot, 1] += -1.0 - here.columns[1, 0]
        walk[2 * foot + 1] = left_over[0, 0]
        for thumb in (False, True):
            row = np.zeros((2, width))
            row[foot] = columns[:, 0]
            row[foot, _THUMB if thumb else _GAUGE] += 1.0
            seen[foot, thumb] = row
    whole = joint.reshape(2 * width, 2 * width)
    flat = asked.reshape(size, -1)
    readings = {}
    for (foot, thumb), row in seen.items():
        every = np.concatenate([flat, row.reshape(1, -1)])
        cov = every @ whole @ every.T + np.diag([*walk, walk[2 * foot + 1]])
        cov[-1, 2 * foot + 1] += walk[2 * foot + 1]
        cov[2 * foot + 1, -1] += walk[2 * foot + 1]
        for at, path in zip((1, 3), paths, strict=True):  # the pair is taken to be in use
            precision = float(known.used.precision[path])
            gain = cov[at] * precision / (1.0 + precision * cov[at, at])
            cov = cov - np.outer(gain, cov[at])
        readings[foot, thumb] = (cov[:-1, -1], float(cov[-1, -1]))
    return cov[:-1, :-1], readings


def _error_variance(noise: Noise, method: str, felt_mm: float, sd_mm: float) -> float:
    """Error variance of one reading by a method, mm2."""
    if method != "thumb":
        return float(noise.gauge_sd_mm[GAUGES.index(method)] ** 2)
    at = felt_mm + sd_mm * _NODES
    chances = _grade_chances(at, noise.thumb)
    information = np.zeros(len(at))
    for grade, chance in enumerate(chances):
        _, variance = grade_information(np.full(len(at), grade), at, noise.thumb)
        information += chance / variance
    return float(_WEIGHTS.sum() / max(float(_WEIGHTS @ information), 1e-9))


def _grade_chances(at: np.ndarray, scale: ThumbScale) -> np.ndarray:
    """Chance of firm, give and soft at some felt thicknesses, shape (3, n)."""
    not_firm = ndtr((scale.firm_from_mm - at) / scale.sd_mm)
    soft = ndtr((scale.give_from_mm - at) / scale.sd_mm)
    return np.array([1.0 - not_firm, not_firm - soft, soft])
