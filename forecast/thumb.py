"""What does a thumb grade say about thickness?

The ordinal model: a grade is where `thickness + the thumb's own shift + noise` falls between two
cut points (ordered probit). Whether a thumb feels thickness as such or thickness above the limit is
learnt too: the cut points move by `limit_weight` mm for each mm of limit. A grade enters the fit as
a Gaussian pseudo-observation that gives the thickness there the mean and variance it has with the
grade (expectation propagation, Minka 2001); `firm` again and again says `at least`, which a
tangent at the mode would understate. A hole says only that nothing is left.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import log_ndtr

__all__ = [
    "HOLE_SD_MM",
    "ThumbScale",
    "grade_bounds",
    "grade_information",
    "hole_information",
    "interval_site",
    "learn_scale",
]

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


def grade_bounds(
    grade: np.ndarray, limit_mm: np.ndarray, scale: ThumbScale
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Interval and noise of what each grade says (0 firm, 1 give, 2 soft, 3 hole).

    Returns
    -------
    low_mm, high_mm, sd_mm : ndarray, shape of `grade`
    """
    shift = scale.limit_weight * (limit_mm - _USUAL_LIMIT_MM)
    firm, give = scale.firm_from_mm + shift, scale.give_from_mm + shift
    low = np.select([grade == 0, grade == 1], [firm, give], -np.inf)
    high = np.select([grade == 0, grade == 1, grade == 2], [np.full_like(firm, np.inf), firm, give])
    return low, high, np.where(grade == 3, HOLE_SD_MM, scale.sd_mm)


def interval_site(
    low_mm: np.ndarray,
    high_mm: np.ndarray,
    sd_mm: np.ndarray,
    mean_mm: np.ndarray,
    variance_mm2: np.ndarray,
) -> tuple[np.ndarray, np.ndarray]:
    """Pseudo-observation that matches the moments of a normal seen to lie in a noisy interval.

    Parameters
    ----------
    low_mm, high_mm, sd_mm : ndarray
        Interval and SD of the noise.
    mean_mm, variance_mm2 : ndarray
        What is known of the thickness without this observation.

    Returns
    -------
    site_mm, site_variance_mm2 : ndarray
        With g and c the gradient and negative curvature of log P(interval) by the mean, the site
        lies at mean + g/c and has variance 1/c - variance.
    """
    total = np.sqrt(sd_mm**2 + variance_mm2)
    low, high = (low_mm - mean_mm) / total, (high_mm - mean_mm) / total
    flip = (low > 0) & np.isfinite(low)
    a, b = np.where(flip, -high, low), np.where(flip, -low, high)
    log_a, log_b = log_ndtr(a), log_ndtr(b)
    log_p = log_b + np.log1p(-np.exp(np.minimum(log_a - log_b, -1e-12)))

    def ratio(edge: np.ndarray) -> np.ndarray:
        at = np.where(np.isfinite(edge), edge, 0.0)
        log_pdf = -0.5 * np.square(at) - 0.9189385332046727
        return np.where(np.isfinite(edge), np.exp(log_pdf - log_p), 0.0)

    r_low, r_high = ratio(low), ratio(high)
    gradient = (r_low - r_high) / total
    edges = np.where(np.isfinite(high), high, 0.0) * r_high
    edges = edges - np.where(np.isfinite(low), low, 0.0) * r_low
    curvature = (np.square(r_low - r_high) + edges) / total**2
    curvature = np.clip(curvature, 1.0 / _MOST_VARIANCE, 1.0 / (variance_mm2 + 1e-4))
    site_variance = np.clip(1.0 / curvature - variance_mm2, 0.25 * sd_mm**2, _MOST_VARIANCE)
    return mean_mm + gradient / curvature, site_variance


def grade_information(
    grade: np.ndarray, thickness_mm: np.ndarray, limit_mm: np.ndarray, scale: ThumbScale
) -> tuple[np.ndarray, np.ndarray]:
    """Tangent of what grades 0 firm, 1 give, 2 soft say at a thickness that is all but known.

    Returns
    -------
    pseudo_mm, variance_mm2 : ndarray, shape of `grade`
    """
    low, high, sd = grade_bounds(grade, limit_mm, scale)
    return interval_site(low, high, sd, thickness_mm, np.full(np.shape(thickness_mm), 1e-6))


def hole_information(thickness_mm: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Tangent of what a hole says: nothing is left, or less."""
    high = np.zeros_like(thickness_mm)
    sd = np.full_like(thickness_mm, HOLE_SD_MM)
    tiny = np.full_like(thickness_mm, 1e-6)
    return interval_site(np.full_like(high, -np.inf), high, sd, thickness_mm, tiny)


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
