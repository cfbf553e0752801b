"""Removal threshold: how loosely is the point kept at which soles come off?

Owners send a pair when it looks worn. So a sole that came off says about how thick it was that day.
A sole that is still on is less likely to be far past that point. The threshold is an unknown of the
model, `sending_mm` above the limit. So its uncertainty stays in the dates of owners without a
gauge. Its SD is learnt here from soles that a gauge followed to near their end. Without such soles
it is taken to be very loose (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

__all__ = ["UNLOGGED_SENDING_SD_MM", "Sending", "learn_sending", "usual_weight"]

OTHER_PER_MM = 0.005 / 5.0  # share of soles that come off for another reason; no source
HOLE_SHARE = 0.08  # of owners, who wait for a hole; common practice, no source
UNLOGGED_SENDING_SD_MM = 0.5  # who does not log judges by eye alone; common practice, no source

_AT_LEAST_SOLES = 15
_KNOWN_SD_MM = 0.25  # a sole counts as followed to its end when its last thickness is known so well
_LEAST_SD_MM = 0.25


@dataclass(frozen=True)
class Sending:
    """Thickness at which soles come off, ball: its SD, its mean above the limit, soles behind it.

    `above_mm` is of wearers who do not log; of others it is an unknown of the model.
    """

    sd_mm: float = 0.9
    soles: int = 0
    above_mm: float = 0.0


def learn_sending(
    mean_mm: np.ndarray,
    sd_mm: np.ndarray,
    limit_mm: np.ndarray,
    before: Sending,
    above_limit_mm: float,
) -> Sending:
    """Learn from the soles that came off.

    Parameters
    ----------
    mean_mm, sd_mm, limit_mm : ndarray, shape (2, soles)
        Thickness of both feet at the ball when the sole came off: posterior mean and SD, and limit.
    before : Sending
        What the posterior was found with; its own pull on the thickness is taken out.
    above_limit_mm : float
        Where soles come off, as the posterior was found.
    """
    pull = 1.0 / (2.0 * before.sd_mm**2)
    precision = np.maximum(1.0 / np.square(sd_mm) - pull, 1e-3)
    own = limit_mm + above_limit_mm
    mean = (mean_mm / np.square(sd_mm) - own * pull) / precision
    known = (precision > _KNOWN_SD_MM**-2).all(axis=0)
    if known.sum() < _AT_LEAST_SOLES:
        return Sending()
    spare = (mean - limit_mm).min(axis=0)[known]
    noise = (1.0 / precision).mean(axis=0)[known]
    variance = float(np.mean(np.square(spare - spare.mean()) - noise))
    return Sending(float(np.sqrt(max(variance, _LEAST_SD_MM**2))), int(known.sum()))


def usual_weight(above_mm: np.ndarray, limit_mm: np.ndarray, sd_mm: np.ndarray) -> np.ndarray:
    """Chance that an owner came at about the limit, given the thickness.

    Some wait for a hole; some soles come off for another reason, at any thickness.
    """
    scatter = 1.5 * sd_mm
    usual = (1 - HOLE_SHARE) * np.exp(-0.5 * np.square(above_mm / scatter)) / scatter
    holed = np.maximum(0.5 * limit_mm, 0.2)
    hole = HOLE_SHARE * np.exp(-0.5 * np.square((above_mm + limit_mm) / holed)) / holed
    return np.asarray(np.maximum(usual / (usual + hole + OTHER_PER_MM), 0.02))
