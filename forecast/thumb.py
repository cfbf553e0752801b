"""What does a thumb grade say about thickness?

The ordinal model: a grade is where `thickness + the thumb's own shift + noise` falls between two
cut points (ordered probit). Whether a thumb feels thickness as such or thickness above the limit is
learnt too: the cut points move by `limit_weight` mm for each mm of limit. A grade enters the fit as
a Gaussian pseudo-observation with the gradient and curvature of its log likelihood at the current
thickness (the likelihood is log-concave, so its variance is positive). A hole says only that
nothing is left.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import log_ndtr

__all__ = ["HOLE_SD_MM", "ThumbScale", "grade_information", "hole_information", "learn_scale"]

HOLE_SD_MM = 0.15
_MOST_VARIANCE = 1e6
_USUAL_LIMIT_MM = 2.0


@dataclass(frozen=True)
class ThumbScale:
    """Cut points of the thumb grades and the noise of one judgement.

    firm_from_mm, give_from_mm : thickness from which the thumb says `firm`, or at least `give`, on
    a sole whose limit is 2 mm. limit_weight : how far the cut points follow the limit (1: they lie
    above the limit; 0: they do not care). sd_mm : noise of one judgement. learnt_from : number of
    checks that taught them (0: common practice, no source).
    """

    firm_from_mm: float = 3.2
    give_from_mm: float = 2.5
    limit_weight: float = 1.0
    sd_mm: float = 0.35
    learnt_from: int = 0


def grade_information(
    grade: np.ndarray, thickness_mm: np.ndarray, limit_mm: np.ndarray, scale: ThumbScale
) -> tuple[np.ndarray, np.ndarray]:
    """Pseudo-observation of thickness for grades 0 firm, 1 give, 2 soft.

    Returns
    -------
    pseudo_mm, variance_mm2 : ndarray, shape of `grade`
    """
    shift = scale.limit_weight * (limit_mm - _USUAL_LIMIT_MM)
    upper = (scale.firm_from_mm + shift - thickness_mm) / scale.sd_mm
    lower = (scale.give_from_mm + shift - thickness_mm) / scale.sd_mm
    high = np.where(grade == 0, np.inf, np.where(grade == 1, upper, lower))
    low = np.where(grade == 0, upper, np.where(grade == 1, lower, -np.inf))
    return _interval_information(low, high, thickness_mm, scale.sd_mm)


def hole_information(thickness_mm: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Pseudo-observation of a hole: thickness is zero or would be less."""
    high = -thickness_mm / HOLE_SD_MM
    return _interval_information(np.full_like(high, -np.inf), high, thickness_mm, HOLE_SD_MM)


def _interval_information(
    low: np.ndarray, high: np.ndarray, thickness_mm: np.ndarray, sd_mm: float
) -> tuple[np.ndarray, np.ndarray]:
    """Gradient and curvature of log P(low < noise < high) with respect to thickness."""
    flip = (low > 0) & np.isfinite(low)
    a = np.where(flip, -high, low)
    b = np.where(flip, -low, high)
    log_b, log_a = log_ndtr(b), log_ndtr(a)
    with np.errstate(divide="ignore"):
        log_p = log_b + np.log1p(-np.exp(np.minimum(log_a - log_b, -1e-12)))

    def ratio(edge: np.ndarray) -> np.ndarray:
        log_pdf = -0.5 * np.square(np.where(np.isfinite(edge), edge, 0.0)) - 0.9189385332046727
        return np.where(np.isfinite(edge), np.exp(log_pdf - log_p), 0.0)

    r_low, r_high = ratio(low), ratio(high)
    slope = (r_low - r_high) / sd_mm
    edges = np.where(np.isfinite(low), low, 0.0) * r_low
    edges = edges - np.where(np.isfinite(high), high, 0.0) * r_high
    curvature = np.square(r_low - r_high) - edges
    precision = np.clip(curvature / sd_mm**2, 1.0 / _MOST_VARIANCE, 1.0 / sd_mm**2)
    return thickness_mm + slope / precision, 1.0 / precision


def learn_scale(
    grade: np.ndarray,
    thickness_mm: np.ndarray,
    limit_mm: np.ndarray,
    prior: ThumbScale | None = None,
    at_least: int = 60,
) -> ThumbScale:
    """Cut points from checks whose thickness is known from a gauge.

    Ordered probit of the grade on thickness and limit (statsmodels' OrderedModel).

    Parameters
    ----------
    grade : ndarray of int, shape (checks,)
        0 firm, 1 give, 2 soft.
    thickness_mm, limit_mm : ndarray, shape (checks,)
        Fitted thickness with the thumb's own shift, and the limit there.
    prior : ThumbScale, optional
        Used when fewer than `at_least` checks, or not all three grades, are there; its
        `limit_weight` also where the limits hardly differ.

    Returns
    -------
    ThumbScale
    """
    prior = prior or ThumbScale()
    if len(grade) < at_least or min(np.bincount(grade, minlength=3)) < 5:
        return prior
    import warnings  # noqa: PLC0415

    from statsmodels.miscmodels.ordinal_model import OrderedModel  # noqa: PLC0415

    above = limit_mm - _USUAL_LIMIT_MM
    tell_apart = float(np.std(above)) > 0.1 and len(grade) >= 2 * at_least
    columns = {"thickness_mm": thickness_mm - prior.limit_weight * above * (not tell_apart)}
    if tell_apart:
        columns["limit_mm"] = above
    model = OrderedModel(2 - grade, pd.DataFrame(columns), distr="probit")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        result = model.fit(method="bfgs", disp=False)
    params = result.params.to_numpy()
    slope = float(params[0])
    cuts = model.transform_threshold_params(params)[1:-1]
    if not np.isfinite(slope) or slope <= 0.2:
        return prior
    weight = float(np.clip(-params[1] / slope, -0.2, 1.2)) if tell_apart else prior.limit_weight
    return ThumbScale(
        firm_from_mm=float(cuts[1] / slope),
        give_from_mm=float(cuts[0] / slope),
        limit_weight=weight,
        sd_mm=float(np.clip(1.0 / slope, 0.05, 2.0)),
        learnt_from=len(grade),
    )
