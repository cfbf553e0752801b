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

__all__ = ["Sending", "learn_sending"]

_AT_LEAST_SOLES = 15
_KNOWN_SD_MM = 0.25  # a sole counts as followed to its end when its last thickness is known so well
_LEAST_SD_MM = 0.25


@dataclass(frozen=True)
class Sending:
    """SD of the thickness at which soles come off, ball, and how many soles taught it."""

    sd_mm: float = 0.9
    soles: int = 0


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
