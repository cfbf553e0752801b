"""Inspection value (preposterior analysis): which check would narrow a pair's date most?

A reading that has not been taken yet is normal, jointly with today's thickness and rates. Taking it
shrinks their covariance by an amount that does not depend on its value. It moves their mean by an
amount that does. Source: Raiffa and Schlaifer, Applied Statistical Decision Theory, 1961. A thumb
grade counts as a reading with the variance that its information is worth on average over the grades
to expect.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from operator import itemgetter

import numpy as np
import pandas as pd
from scipy.special import ndtr

from solespan.forecast.dates.due_draws import due_draws
from solespan.forecast.explaining.one_pair import OnePair
from solespan.forecast.frames import FEET, METHODS
from solespan.forecast.model.sole_state import SoleState, joined
from solespan.forecast.model.wear_fit import WearFit
from solespan.forecast.observation.thumb import ThumbScale, grade_information
from solespan.forecast.panel.foot_pairs import FootPairs
from solespan.forecast.panel.panel import GAUGES

__all__ = ["COLUMNS", "interval_days", "next_checks"]

COLUMNS = ("foot", "point", "method", "interval_days_now", "interval_days_after")
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
    now = mine.state
    cov, readings = mine.known.readings(mine.log, mine.ball, len(now.mean))
    by_thumb = {(reading.foot, reading.thumb): reading for reading in readings}
    asked, states = [], [now]
    for foot, name in enumerate(FEET):
        for method in METHODS:
            reading = by_thumb[foot, method == "thumb"]
            mean, sd = now.mean[2 * foot + 1, 0], np.sqrt(cov[2 * foot + 1, 2 * foot + 1])
            error = _error_variance(mine.fit, method, float(mean + reading.shift_mm), float(sd))
            gain = reading.covariance / np.sqrt(reading.variance_mm2 + error)
            asked.append((name, method))
            states += _outcomes(now, cov - np.outer(gain, gain), gain)
    width_now, *widths = interval_days(mine, states).tolist()
    after = np.average(np.reshape(widths, (len(asked), -1)), axis=1, weights=_CHANCES).tolist()
    rows = [
        (name, "ball", method, width_now, min(width, width_now))
        for (name, method), width in zip(asked, after, strict=True)
    ]
    return pd.DataFrame(sorted(rows, key=itemgetter(-1)), columns=list(COLUMNS))


def _outcomes(now: SoleState, cov: np.ndarray, gain: np.ndarray) -> list[SoleState]:
    """States after a reading, by what it may read; `gain` moves the mean per its SD."""
    factor = np.linalg.cholesky(cov + 1e-10 * np.eye(len(cov)))[:, :, None]
    return [replace(now, mean=now.mean + z * gain[:, None], factor=factor) for z in _OUTCOMES]


def interval_days(mine: OnePair, states: Sequence[SoleState]) -> np.ndarray:
    """Days from the 10 % to the 90 % quantile of the resole date, cut at the horizon, by state."""
    ball = FootPairs(
        *(np.repeat(paths, len(states)) for paths in (mine.ball.left, mine.ball.right))
    )
    draws = due_draws(mine.known, ball, joined(states))
    days = np.minimum(draws.days[2], mine.settings.horizon_days)
    low, high = np.quantile(days, [0.1, 0.9], axis=-1)
    return np.asarray(high - low)


def _error_variance(fit: WearFit, method: str, felt_mm: float, sd_mm: float) -> float:
    """Error variance of one reading by a method, mm2."""
    noise = fit.noise
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
