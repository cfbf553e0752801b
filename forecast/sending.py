"""How thin do soles get here before they are sent, and what does a sole still on tell?

Owners send a pair when it looks worn; so a sole that is still on is less likely to be far past the
point at which soles have come off before. That point, and how loosely it is kept, is learnt from
the soles that were taken off. With few of them a sole still on tells nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from forecast.estimation import Estimate, prior_centre
from forecast.panel import Panel
from forecast.sole_state import FootPairs, foot_pairs, sole_state

__all__ = ["Sending", "learn_sending", "redraw"]

_AT_LEAST_SOLES = 15
_LEAST_SD_MM = 0.1


@dataclass(frozen=True)
class Sending:
    """Thickness above the limit at which soles come off: thinner foot, ball.

    above_limit_mm, sd_mm : mean and SD over soles. soles : how many taught it; 0 = not known.
    """

    above_limit_mm: float = 0.0
    sd_mm: float = 1.0
    soles: int = 0

    def still_on(self, spare_mm: np.ndarray, ball: np.ndarray) -> np.ndarray:
        """Chance that a sole with so much above its limit would still be on.

        Parameters
        ----------
        spare_mm : ndarray, shape (groups, draws)
            Thickness above the limit of the thinner foot.
        ball : ndarray of bool, shape (groups,)
            Only the ball sends a sole; other points count one.
        """
        if not self.soles:
            return np.ones_like(spare_mm)
        chance = ndtr((spare_mm - self.above_limit_mm) / self.sd_mm)
        return np.where(ball[:, None], np.maximum(chance, 1e-6), 1.0)


def learn_sending(panel: Panel, found: Estimate) -> Sending:
    """Learn from the soles that were taken off.

    Parameters
    ----------
    panel : Panel
    found : Estimate
        Of the same panel.
    """
    feet = foot_pairs(panel, current_only=False)
    gone = ~panel.current[feet.left] & (panel.path_point[feet.left] == 0)
    feet = FootPairs(feet.left[gone], feet.right[gone])
    if len(feet.left) < _AT_LEAST_SOLES:
        return Sending()
    centre = prior_centre(found.layout)
    state = sole_state(panel, found.layout, found.lin, found.posterior, centre, feet)
    spare = np.minimum(
        state.mean[1] - panel.limit_mm[feet.left], state.mean[3] - panel.limit_mm[feet.right]
    )
    known = np.square(state.factor[1]).sum(axis=0)
    weight = 1.0 / (known + 0.3**2)
    mean = float(np.average(spare, weights=weight))
    variance = float(np.average(np.square(spare - mean) - known, weights=weight))
    return Sending(mean, float(np.sqrt(max(variance, _LEAST_SD_MM**2))), len(feet.left))


def redraw(weight: np.ndarray, order_by: np.ndarray) -> np.ndarray:
    """Systematic redraw of weighted draws, deterministic and in order.

    Parameters
    ----------
    weight, order_by : ndarray, shape (groups, draws)
        Weights, and the quantity in whose order draws are passed.

    Returns
    -------
    ndarray of int, shape (groups, draws)
        Indices of draws that all count the same.
    """
    n, draws = weight.shape
    order = np.argsort(order_by, axis=-1, kind="stable")
    running = np.cumsum(np.take_along_axis(weight, order, axis=-1), axis=-1)
    running /= running[:, -1:]
    row = np.arange(n)[:, None]
    wanted = (np.arange(draws) + 0.5) / draws
    place = np.searchsorted((running + row).ravel(), (wanted + row).ravel()).reshape(n, draws)
    return np.take_along_axis(order, np.minimum(place - row * draws, draws - 1), axis=-1)
