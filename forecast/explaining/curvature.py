"""Curvature of wear.

Does wear go on at the same pace, or does it slow down or speed up as a sole is worn?

The model takes wear to be proportional to exposure. Were it proportional to a power of exposure,
each path would bend by (power - 1) * rate * x * log(x) against its own straight line. That bend is
estimated from all paths together, without each path's own start, rate and packing. Its error comes
from how much the soles disagree, so no noise needs to be known. Cluster-robust variance: Liang and
Zeger, Biometrika 73:13, 1986.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from solespan.forecast.model.wear_model import Conditioned
from solespan.forecast.panel.panel import THUMB
from solespan.forecast.priors import PACKING_DAYS

__all__ = ["Curvature", "curvature"]

_FEWEST_SOLES = 6
_SURE = 4.0  # standard errors
_MATTERS = 0.15  # of the power: 0.15 bends a path that loses 3 mm by about 0.15 mm


@dataclass(frozen=True)
class Curvature:
    """Power of exposure to which wear is proportional: 1 is straight, less slows down.

    power, standard_error : NaN where fewer than six soles have enough readings.
    paths : paths that told.
    """

    power: float
    standard_error: float
    paths: int

    @property
    def flagged(self) -> bool:
        """Whether wear is so far from a straight line, and so surely, that dates will be off."""
        off = abs(self.power - 1.0)
        return bool(off > _MATTERS and off > _SURE * self.standard_error)


def curvature(known: Conditioned) -> Curvature:
    """Estimate the power of exposure to which wear is proportional, over all gauge readings."""
    panel = known.panel
    x_target = known.worn
    # a top piece is replaced without a new sole, so the heel has no one line
    sole = panel.path_point[panel.obs_path] != 2
    use = np.flatnonzero((panel.obs_kind < THUMB) & ~panel.obs_waist & sole)
    rate = np.exp(known.log_rate)
    path = panel.obs_path[use]
    edges = np.append(np.flatnonzero(np.diff(path, prepend=-1)), len(path))
    bends, products, soles = [], [], []
    for begin, end in itertools.pairwise(edges):
        at = use[begin:end]
        x = x_target[panel.obs_target[at]]
        found = _bend(x, panel.obs_mm[at], float(rate[path[begin]]))
        if found is not None:
            bends.append(found[0])
            products.append(found[1])
            soles.append(panel.path_sole[path[begin]])
    _, which = np.unique(np.array(soles, dtype=int), return_inverse=True)
    if len(np.unique(which)) < _FEWEST_SOLES or sum(bends) <= 0.0:
        return Curvature(float("nan"), float("nan"), len(bends))
    gg, gy = np.bincount(which, bends), np.bincount(which, products)
    off = gy.sum() / gg.sum()
    n = len(gg)
    variance = np.square(gy - off * gg).sum() / gg.sum() ** 2 * n / (n - 1)
    return Curvature(1.0 + float(off), float(np.sqrt(variance)), len(bends))


def _bend(x: np.ndarray, y: np.ndarray, rate: float) -> tuple[float, float] | None:
    """Squared length of a path's bend, and its product with the readings; None if it has none."""
    packed = np.minimum(x / PACKING_DAYS, 1.0)
    lines = [np.ones_like(x), x]
    if np.ptp(packed) > 0.05:
        lines.append(packed)
    if len(x) < len(lines) + 2 or np.ptp(x) <= 0.0:
        return None
    middle = x.mean()
    bend = -rate * x * np.log(np.maximum(x, 0.01 * middle) / middle)
    basis, _ = np.linalg.qr(np.array(lines).T)
    left_over = bend - basis @ (basis.T @ bend)
    return float(left_over @ left_over), float(left_over @ y)
