"""Draws of due days: on which days may each foot and each pair be at its limit?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from solespan.forecast.dates.first_passage import normal_points, remaining_exposure
from solespan.forecast.model.sole_state import SoleState
from solespan.forecast.model.wear_model import Conditioned
from solespan.forecast.panel.foot_pairs import FootPairs
from solespan.forecast.use.calendar import UseAhead, days_until

__all__ = ["DueDraws", "due_draws"]


@dataclass(frozen=True)
class DueDraws:
    """Draws for groups (a sole's two feet at one point).

    days : ndarray, shape (3, groups, draws)
        Days from as_of until left, right, and the first of both are at the limit; inf beyond.
    left_first : ndarray, shape (groups,)
        Chance that the left is at its limit before the right.
    rate_mm, thickness_mm : ndarray, shape (2, groups, draws)
    wears : ndarray, shape (3, groups, draws)
        Wear days until left, right, and the first of both are at the limit: of the same draws.
    """

    days: np.ndarray
    left_first: np.ndarray
    rate_mm: np.ndarray
    thickness_mm: np.ndarray
    wears: np.ndarray


def due_draws(known: Conditioned, feet: FootPairs, state: SoleState | None = None) -> DueDraws:
    """Draw due days of pairs of feet; `state` is theirs, if it is at hand or not as known."""
    panel = known.panel
    state = known.state(feet) if state is None else state
    remaining, rate, thickness, log_pace = remaining_exposure(
        state, panel.limit_mm[feet.both], known.fit.noise.process_mm
    )
    members = panel.path_pair[feet.left]
    use = normal_points()[8]
    n, draws = len(members), remaining.shape[-1]
    wears = _wear_days(known.ahead, members, remaining)
    if log_pace is not None:  # the faster the pace, the fewer days at the mean pace
        remaining *= np.exp(-log_pace * known.ahead.follows[members].astype(np.float32)[:, None])
    both = remaining.reshape(2 * n, draws)
    days = np.empty((3, n, draws), remaining.dtype)
    days[:2] = days_until(known.ahead, both, use, np.tile(members, 2)).reshape(2, n, draws)
    # both feet share one use, so the first of the days is the day of the first
    np.minimum(days[0], days[1], out=days[2])
    sooner = (remaining[0] < remaining[1]).mean(axis=-1)
    sooner += 0.5 * (remaining[0] == remaining[1]).mean(axis=-1)
    return DueDraws(days, sooner, rate, thickness, wears)


def _wear_days(ahead: UseAhead, members: np.ndarray, remaining: np.ndarray) -> np.ndarray:
    """Wear days that use up the remaining standard wear days: both feet, and the first of them."""
    exposure = np.maximum(ahead.per_day[members], 1e-6) / np.maximum(
        ahead.wear_days_per_day[members], 1e-6
    )
    both = remaining / exposure.astype(remaining.dtype)[:, None]
    return np.concatenate([both, both.min(axis=0, keepdims=True)])
