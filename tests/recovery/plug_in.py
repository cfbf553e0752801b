"""What would a linear mixed model forecast, its lines taken as if they were known?

statsmodels' MixedLM of thickness on logged exposure: one slope per material, and per sole a random
start, slope and slope of the right less the left foot. The yardstick of a careful analyst with a
general tool: no thumb grades, no wearer behind the pair, no kind of ground.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass, replace

import numpy as np
from statsmodels.regression.mixed_linear_model import MixedLM

from solespan.forecast.dates.first_passage import normal_points
from solespan.forecast.frames import MATERIALS
from solespan.forecast.model.wear_model import Conditioned
from solespan.forecast.panel.foot_pairs import FootPairs
from solespan.forecast.panel.panel import THUMB, Panel
from solespan.forecast.priors import MATERIAL_RATE
from solespan.forecast.use.calendar import days_until

PER = 100.0  # exposure in hundreds of standard wear days keeps the random effects of one size
LEAST_SHARE = 0.2  # a line that hardly falls is given this share of its material's rate
FEWEST_READINGS = 30  # of a material with a slope of its own


@dataclass(frozen=True)
class Lines:
    """Thickness today (mm) and rate (mm per logged standard wear day) of every path."""

    thickness_mm: np.ndarray
    rate_mm: np.ndarray


def fit_lines(panel: Panel) -> Lines:
    """Fit every path's line, the ball's where gauged, the population's elsewhere."""
    worn = panel.exposure.base.sum(axis=1) / PER
    ball = panel.path_point == 0
    use = (panel.obs_kind < THUMB) & ~panel.obs_waist & ball[panel.obs_path]
    path = panel.obs_path[use]
    x, side = worn[panel.obs_target[use]], panel.path_foot - 0.5
    loss = panel.obs_mm[use] - panel.nominal_mm[path]
    if len(x) < FEWEST_READINGS:  # nothing to fit: what the trade says of each material
        rate = np.array([MATERIAL_RATE[word] for word in MATERIALS])[panel.material]
        return Lines(panel.nominal_mm - rate * PER * worn[panel.path_end], rate)
    counts = np.bincount(panel.material[path], minlength=panel.material.max() + 1)
    group = np.where(counts >= FEWEST_READINGS, np.arange(len(counts)) + 1, 0)[panel.material]
    present = np.unique(group[path])
    slopes = (group[:, None] == present).astype(float)
    slopes[~np.isin(group, present)] = 1.0 / len(present)
    design = np.column_stack([np.ones_like(x), x[:, None] * slopes[path]])
    random = np.column_stack([np.ones_like(x), x, side[path] * x])
    with warnings.catch_warnings():
        # a spread that is all but zero puts the optimum on the edge, of which MixedLM warns
        warnings.simplefilter("ignore")
        fitted = MixedLM(loss, design, panel.path_sole[path], exog_re=random).fit()
    own = np.zeros((len(panel.sole_ids), 3))
    for sole, effects in fitted.random_effects.items():
        own[int(sole)] = np.asarray(effects)
    own = own[panel.path_sole]
    usual = -(slopes @ np.asarray(fitted.fe_params)[1:])
    rate = np.maximum(usual - own[:, 1] - side * own[:, 2], LEAST_SHARE * np.abs(usual))
    start = panel.nominal_mm + np.asarray(fitted.fe_params)[0] + own[:, 0]
    return Lines(start - rate * worn[panel.path_end], rate / PER)


def plug_in_days(known: Conditioned, feet: FootPairs) -> tuple[np.ndarray, np.ndarray]:
    """Days until the first foot's line meets the limit, under the model's own forecast of use.

    Returns
    -------
    point : ndarray, shape (pairs, 1)
        At the expected pace.
    draws : ndarray, shape (pairs, draws)
        With the spread of use, the line itself taken as certain.
    """
    panel = known.panel
    lines = fit_lines(panel)
    paths = np.array([feet.left, feet.right])
    left_mm = np.maximum(lines.thickness_mm - panel.limit_mm, 0.0)
    remaining = (left_mm / lines.rate_mm)[paths].min(axis=0)[:, None]
    members = panel.path_pair[feet.left]
    end = np.flatnonzero(np.r_[panel.target_sole[1:] != panel.target_sole[:-1], True])
    pair = panel.sole_pair[panel.target_sole[end]]
    worn = np.bincount(pair, panel.exposure.base[end].sum(axis=1), len(panel.pair_ids))
    # logged exposure of a wear day: this wearer's habit of hours, its kinds of ground left out
    ahead = known.ahead
    multiplied = _effective(known, end, pair)
    share = (worn + 5.0) / (multiplied + 5.0)
    ahead = replace(ahead, per_day=ahead.per_day * share)
    sure = replace(ahead, error=(0.0, 0.0, 0.0, 0.0))
    point = days_until(sure, remaining, np.zeros(1), members)
    use = normal_points()[8]
    wide = np.repeat(remaining, len(use), axis=1)
    return point, days_until(ahead, wide, use, members)


def _effective(known: Conditioned, end: np.ndarray, pair: np.ndarray) -> np.ndarray:
    """Standard wear days of each pair so far, kinds of ground counted as the model counts them."""
    return np.bincount(pair, known.worn[end], len(known.panel.pair_ids))
