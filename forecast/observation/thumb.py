"""Thumb grades (ordered probit): what does a thumb grade say about thickness?

The ordinal model: a grade is where `thickness + the thumb's shift + noise` falls between two cut
points (ordered probit). The shift is an unknown of the model: `thumb_shift_mm`, a wearer's own, and
`thumb_limit`. The last says whether a thumb feels thickness or thickness above the limit. This
module holds the cut points' distance and the noise. A grade enters the fit as a Gaussian
pseudo-observation (expectation propagation, Minka 2001). It gives the thickness the mean and
variance that it has with the grade. `firm` again and again says `at least`, which a tangent at the
mode would understate. A hole says only that nothing is left.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import log_ndtr

__all__ = [
    "HOLE_SD_MM",
    "ThumbScale",
    "believable_mm",
    "grade_bounds",
    "grade_information",
    "interval_site",
    "learn_scale",
    "log_chance",
]

HOLE_SD_MM = 0.15
_MOST_VARIANCE = 1e6
# Beyond a cut point of the prior by so much, a grade is asked about. It is about three SDs of the
# cut point and of one judgement together; common practice, no source.
_BEYOND_MM = 1.5
_HOLE_MM = 0.5  # a hole with more leather than this is asked about; common practice, no source
_LEAST_SLOPE = 0.2  # grades per mm: an ordered probit flatter than that has learnt nothing


@dataclass(frozen=True)
class ThumbScale:
    """Cut points of the thumb grades and the noise of one judgement.

    firm_from_mm, give_from_mm : felt thickness from which the thumb says `firm`, or at least
    `give`, on a sole whose limit is 2 mm. sd_mm : noise of one judgement. learnt_from : number of
    checks that taught them (0: common practice, no source).
    """

    firm_from_mm: float = 3.2
    give_from_mm: float = 2.5
    sd_mm: float = 0.35
    learnt_from: int = 0


def grade_bounds(grade: np.ndarray, scale: ThumbScale) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Interval and noise of what each grade says (0 firm, 1 give, 2 soft, 3 hole).

    Returns
    -------
    low_mm, high_mm, sd_mm : ndarray, shape of `grade`
    """
    firm, give = scale.firm_from_mm, scale.give_from_mm
    low = np.array([firm, give, -np.inf, -np.inf])[grade]
    high = np.array([np.inf, firm, give, 0.0])[grade]
    return low, high, np.where(grade == 3, HOLE_SD_MM, scale.sd_mm)


def believable_mm(grade: str) -> tuple[float, float]:
    """Least and greatest thickness at which a grade (a word of `frames.GRADES`) can be meant, mm.

    Outside of it, one of the two is likely a misreading.
    """
    scale = ThumbScale()
    firm, give = scale.firm_from_mm, scale.give_from_mm
    ranges = {
        "firm": (firm - _BEYOND_MM, float("inf")),
        "give": (give - _BEYOND_MM, firm + _BEYOND_MM),
        "soft": (0.0, give + _BEYOND_MM),
        "hole": (0.0, _HOLE_MM),
    }
    return ranges[grade]


def log_chance(low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """Log of the normal probability between two standardised bounds, either of them infinite."""
    flip = (low > 0) & np.isfinite(low)
    a, b = np.where(flip, -high, low), np.where(flip, -low, high)
    log_a, log_b = log_ndtr(a), log_ndtr(b)
    return np.asarray(log_b + np.log1p(-np.exp(np.minimum(log_a - log_b, -1e-12))))


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
        The site lies at mean + g/c and has variance 1/c - variance. Here g and c are the gradient
        and negative curvature of log P(interval) by the mean.
    """
    total = np.sqrt(sd_mm**2 + variance_mm2)
    low, high = (low_mm - mean_mm) / total, (high_mm - mean_mm) / total
    log_p = log_chance(low, high)

    def ratio(edge: np.ndarray) -> np.ndarray:
        log_pdf = -0.5 * np.square(edge) - 0.9189385332046727
        return np.asarray(np.exp(np.where(np.isfinite(edge), log_pdf - log_p, -np.inf)))

    r_low, r_high = ratio(low), ratio(high)
    gradient = (r_low - r_high) / total
    edges = np.where(np.isfinite(high), high, 0.0) * r_high
    edges = edges - np.where(np.isfinite(low), low, 0.0) * r_low
    curvature = (np.square(r_low - r_high) + edges) / total**2
    curvature = np.clip(curvature, 1.0 / _MOST_VARIANCE, 1.0 / (variance_mm2 + 1e-4))
    site_variance = np.clip(1.0 / curvature - variance_mm2, 0.25 * sd_mm**2, _MOST_VARIANCE)
    return mean_mm + gradient / curvature, site_variance


def grade_information(
    grade: np.ndarray, felt_mm: np.ndarray, scale: ThumbScale
) -> tuple[np.ndarray, np.ndarray]:
    """Tangent of what grades 0 firm, 1 give, 2 soft say at a felt thickness that is all but known.

    Returns
    -------
    pseudo_mm, variance_mm2 : ndarray, shape of `grade`
    """
    low, high, sd = grade_bounds(grade, scale)
    return interval_site(low, high, sd, felt_mm, np.full(np.shape(felt_mm), 1e-6))


def learn_scale(
    grade: np.ndarray,
    felt_mm: np.ndarray,
    prior: ThumbScale | None = None,
    at_least: int = 60,
) -> ThumbScale:
    """Cut points from checks whose thickness is known from a gauge.

    Ordered probit of the grade on thickness (statsmodels' OrderedModel).

    Parameters
    ----------
    grade : ndarray of int, shape (checks,)
        0 firm, 1 give, 2 soft.
    felt_mm : ndarray, shape (checks,)
        Fitted thickness with the thumb's shift.
    prior : ThumbScale, optional
        Used when fewer than `at_least` checks, or not all three grades, are there.

    Returns
    -------
    ThumbScale
    """
    prior = prior or ThumbScale()
    if len(grade) < at_least or min(np.bincount(grade, minlength=3)) < 5:
        return prior
    import warnings  # noqa: PLC0415

    from statsmodels.miscmodels.ordinal_model import OrderedModel  # noqa: PLC0415

    model = OrderedModel(2 - grade, pd.DataFrame({"felt_mm": felt_mm}), distr="probit")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        result = model.fit(method="bfgs", disp=False)
    params = result.params.to_numpy()
    slope = float(params[0])
    cuts = model.transform_threshold_params(params)[1:-1]
    if not np.isfinite(slope) or slope <= _LEAST_SLOPE:
        return prior
    return ThumbScale(
        firm_from_mm=float(cuts[1] / slope),
        give_from_mm=float(cuts[0] / slope),
        sd_mm=float(np.clip(1.0 / slope, 0.05, 2.0)),
        learnt_from=len(grade),
    )
