"""Converged posterior modes.

Where do wearers stand under a fit, each of them followed until nothing moves?

Given the population, wearers are independent: most stand still after a few steps, a few with odd
readings take many more. Those are followed alone, so that they neither hold up the others nor are
left half-way, and who shares their block changes nothing.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from solespan.forecast.model.dense import FEW_PATHS
from solespan.forecast.model.ep_sites import Cavities
from solespan.forecast.model.hierarchy import solve
from solespan.forecast.model.inner_loop import STILL, IterationState, Modes, lined_up, modes
from solespan.forecast.model.linearise import Noise, Sites
from solespan.forecast.model.parameter_layout import Coordinates, coordinates, facts_of
from solespan.forecast.panel.panel import Panel, panel_part

__all__ = ["converged_modes"]

_TOGETHER, _AT_A_TIME, _TIMES = 5, 4, 5
Population = tuple[np.ndarray, np.ndarray]


def converged_modes(
    panel: Panel,
    layout: Coordinates,
    spread: dict[str, float],
    noise: Noise,
    population: Population,
) -> Modes:
    """Find where the unknowns of wearers stand under a fit.

    Parameters
    ----------
    panel, layout, spread, noise
        The model.
    population : (mean, covariance)
        Posterior of the population from a fit.
    """
    few = len(panel.nominal_mm) <= FEW_PATHS
    steps = _TOGETHER + _AT_A_TIME * _TIMES if few else _TOGETHER
    found = modes(panel, layout, spread, noise, population=population, steps=steps)
    if few:
        return found
    stand = found.stand
    for _ in range(_TIMES):
        moving = np.zeros(len(panel.wearer_ids), bool)
        moving[panel.path_wearer[stand.moved >= STILL]] = True
        if not moving.any():
            break
        part = panel_part(panel, moving)
        own = coordinates(part, facts=facts_of(panel))
        there = replace(found, stand=_part(panel, stand, moving))
        there = modes(
            part, own, spread, noise, population=population, start=there, steps=_AT_A_TIME
        )
        stand = _merged(panel, stand, moving, there.stand)
    lin = lined_up(panel, layout, noise, stand, settled=True)
    return Modes(solve(panel, layout, lin, spread, population), lin, stand)


def _taken(
    panel: Panel, stand: IterationState, wearer: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Which paths, observations and sites are those of some wearers."""
    path = wearer[panel.path_wearer]
    seen = path[panel.obs_path]
    return path, seen, seen[stand.sites.rows]


def _part(panel: Panel, stand: IterationState, wearer: np.ndarray) -> IterationState:
    path, seen, site = _taken(panel, stand, wearer)
    sites, cavities = stand.sites, stand.cavities
    rows = (np.cumsum(seen) - 1)[sites.rows[site]]
    return IterationState(
        deviation=stand.deviation[:, path],
        weight=stand.weight[seen],
        sites=Sites(rows, sites.mm[site], sites.variance_mm2[site]),
        cavities=Cavities(cavities.mean_mm[site], cavities.variance_mm2[site]),
        pull=stand.pull[:, path],
        log_rate_variance=stand.log_rate_variance[path],
        pace_variance=stand.pace_variance[path],
        moved=stand.moved[path],
        swing=stand.swing[path],
        share=stand.share[path],
    )


def _merged(
    panel: Panel, stand: IterationState, wearer: np.ndarray, there: IterationState
) -> IterationState:
    path, seen, site = _taken(panel, stand, wearer)

    def put(values: np.ndarray, where: np.ndarray, new: np.ndarray) -> np.ndarray:
        out = values.copy()
        out[..., where] = new
        return out

    sites, cavities = stand.sites, stand.cavities
    return IterationState(
        deviation=put(stand.deviation, path, there.deviation),
        weight=put(stand.weight, seen, there.weight),
        sites=Sites(
            sites.rows,
            put(sites.mm, site, there.sites.mm),
            put(sites.variance_mm2, site, there.sites.variance_mm2),
        ),
        cavities=Cavities(
            put(cavities.mean_mm, site, there.cavities.mean_mm),
            put(cavities.variance_mm2, site, there.cavities.variance_mm2),
        ),
        pull=put(stand.pull, path, there.pull),
        log_rate_variance=put(stand.log_rate_variance, path, there.log_rate_variance),
        pace_variance=put(stand.pace_variance, path, there.pace_variance),
        moved=put(stand.moved, path, there.moved),
        swing=put(stand.swing, path, there.swing),
        share=put(stand.share, path, there.share),
    )
