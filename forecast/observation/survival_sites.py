"""Survival evidence: what does a sole that has not come off yet say of its thickness?

A pair in use comes in when the thickness falls below what its owner tolerates, a normal about a
little over the limit. A pair that is gone never comes. So a sole still on has the likelihood
gone + (1 - gone) * Phi((thickness - tolerated) / SD). Both feet tell of the same event, so each
carries the square root of it. The site matches the moments of its cavity times that factor, found
by Gauss-Hermite quadrature (expectation propagation, Minka 2001).
"""

from __future__ import annotations

import numpy as np
from scipy.special import ndtr

from solespan.forecast.observation.attrition import Leaving, Silence, chance_gone, learn_leaving
from solespan.forecast.observation.removal_threshold import HOLE_SHARE
from solespan.forecast.panel.panel import SENT, Panel

__all__ = ["gone_at", "learn_from_silence", "silence_of", "still_on_site", "survival"]

_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(15)
_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()
_MOST_VARIANCE = 1e6
_FARTHEST = 3.0  # SDs that a site lies from the mean that it leads to
_HOLE_MM = 0.3
_SAME_VISIT_DAYS = 45  # a pair fetched so long after its new sole is no new visit


def still_on_site(
    low_mm: np.ndarray,
    sd_mm: np.ndarray,
    gone: np.ndarray,
    mean_mm: np.ndarray,
    variance_mm2: np.ndarray,
) -> tuple[np.ndarray, np.ndarray]:
    """Pseudo-observation for one foot of a sole still on.

    Parameters
    ----------
    low_mm, sd_mm : ndarray, shape (m,)
        Mean and SD of the thickness at which soles come off.
    gone : ndarray, shape (m,)
        Chance that the pair is gone, before its wear is looked at.
    mean_mm, variance_mm2 : ndarray, shape (m,)
        What is known of the thickness without this observation.

    Returns
    -------
    site_mm, site_variance_mm2 : ndarray, shape (m,)
    """
    at = mean_mm[:, None] + np.sqrt(variance_mm2)[:, None] * _NODES
    lasts = survival(at, low_mm[:, None], sd_mm[:, None])
    factor = np.sqrt(gone[:, None] + (1.0 - gone[:, None]) * lasts) * _WEIGHTS
    total = np.maximum(factor.sum(axis=1), 1e-300)
    mean = (factor * at).sum(axis=1) / total
    variance = (factor * np.square(at - mean[:, None])).sum(axis=1) / total
    variance = np.maximum(variance, 1e-3 * variance_mm2)
    precision = np.maximum(1.0 / variance - 1.0 / variance_mm2, 1.0 / _MOST_VARIANCE)
    precision = np.minimum(precision, 4.0 / np.square(sd_mm))
    # a mixture may move the mean and widen it; the site then stands near and is as loose as it can
    shift = mean - mean_mm
    within = _FARTHEST * (sd_mm + np.sqrt(variance_mm2))
    precision = np.maximum(precision, np.abs(shift) / (variance_mm2 * within))
    return mean + shift / (variance_mm2 * precision), 1.0 / precision


def survival(thickness_mm: np.ndarray, low_mm: np.ndarray, sd_mm: np.ndarray) -> np.ndarray:
    """Chance that a pair in use has not come in at this thickness.

    Most owners come at about `low_mm`; some wait for a hole.
    """
    usual = ndtr((thickness_mm - low_mm) / sd_mm)
    waits = ndtr((thickness_mm - _HOLE_MM) / np.minimum(sd_mm, _HOLE_MM + 0.3 * sd_mm))
    return np.asarray((1.0 - HOLE_SHARE) * usual + HOLE_SHARE * waits)


def silence_of(panel: Panel, path: np.ndarray, day: np.ndarray) -> Silence:
    """How long nothing was heard of the soles of some paths, on some days."""
    sole, pair = panel.path_sole[path], panel.path_pair[path]
    fitted, seen = panel.sole_fitted[sole], panel.pair_contact[pair]
    seen = np.clip(seen, fitted, day)
    told = np.clip(panel.pair_said[pair], fitted, day)  # on that day the pair was in use
    return Silence(
        np.asarray(day - told, float),
        np.asarray(day - seen, float),
        seen > fitted + _SAME_VISIT_DAYS,
    )


def gone_at(panel: Panel, rows: np.ndarray, leaving: Leaving) -> np.ndarray:
    """Chance that the pair is gone at observations of soles not come off yet."""
    path = panel.obs_path[rows]
    gone = chance_gone(leaving, silence_of(panel, path, panel.target_day[panel.obs_target[rows]]))
    return np.where(panel.current[path], gone, 0.0)


def learn_from_silence(
    panel: Panel,
    rows: np.ndarray,
    mean_mm: np.ndarray,
    variance_mm2: np.ndarray,
    low_mm: np.ndarray,
    sd_mm: np.ndarray,
) -> Leaving:
    """Learn how customers leave.

    Parameters
    ----------
    panel : Panel
    rows : ndarray of int, shape (m,)
        Observations of soles still on.
    mean_mm, variance_mm2 : ndarray, shape (m,)
        Thickness there without what it says that the sole is on.
    low_mm, sd_mm : ndarray, shape (m,)
        Mean and SD of the thickness at which soles come off.
    """
    left = panel.path_foot[panel.obs_path[rows]] == 0
    on = panel.current[panel.obs_path[rows]] & left
    path = panel.obs_path[rows][on]
    lasts = survival(mean_mm, low_mm, np.sqrt(np.square(sd_mm) + variance_mm2))[on]
    waiting = silence_of(panel, path, np.full(len(path), panel.as_of_day))
    sent = panel.obs_kind == SENT
    sent &= panel.path_foot[panel.obs_path] == 0
    came_path = panel.obs_path[sent]
    life = panel.target_day[panel.obs_target[sent]] - panel.sole_fitted[panel.path_sole[came_path]]
    life = np.asarray(life, float)
    came = Silence(life, life, np.zeros(len(life), bool))
    return learn_leaving(came, waiting, lasts)
