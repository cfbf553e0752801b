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
from solespan.forecast.model.hierarchy import Posterior, solve
from solespan.forecast.model.inner_loop import (
    STILL,
    IterationState,
    Modes,
    line_up_moving,
    lined_up,
    modes,
)
from solespan.forecast.model.linearise import Noise, Sites
from solespan.forecast.model.parameter_layout import SPREAD_OF, Coordinates, coordinates, facts_of
from solespan.forecast.panel.panel import THUMB, Panel, panel_part
from solespan.forecast.panel.rate_ages import with_moving_rates

__all__ = ["CHANGED", "changed_wearers", "converged_modes"]

_TOGETHER, _AT_A_TIME, _TIMES = 5, 4, 5
# Readings of a path that can show a bend, and the log odds from which a change is believed: one
# wearer in 20 changes. Then the spreads that are tried, and those of a wearer who has changed.
_READINGS, _CLEARLY = 3, 3.0
_TESTED = {"wearer_drift": 0.5, "pair_drift": 0.02, "wearer_trend": 0.1, "pair_trend": 0.02}
CHANGED = {"wearer_drift": 0.5, "pair_drift": 0.1, "wearer_trend": 0.1, "pair_trend": 0.05}
Population = tuple[np.ndarray, np.ndarray]


def converged_modes(
    panel: Panel,
    layout: Coordinates,
    spread: dict[str, float],
    noise: Noise,
    population: Population,
    start: Modes | None = None,
) -> Modes:
    """Find where the unknowns of wearers stand under a fit.

    Parameters
    ----------
    panel, layout, spread, noise
        The model.
    population : (mean, covariance)
        Posterior of the population from a fit.
    start : Modes, optional
        Where they stand with still rates; only wearers whose rates move are followed from there.
    """
    few = len(panel.nominal_mm) <= FEW_PATHS
    if start is None or few:
        steps = _TOGETHER + _AT_A_TIME * _TIMES if few else _TOGETHER
        found = modes(panel, layout, spread, noise, population=population, start=start, steps=steps)
    else:
        found = start
    if few:
        return found
    stand = found.stand
    for turn in range(_TIMES):
        moving = np.zeros(len(panel.wearer_ids), bool)
        moving[panel.path_wearer[stand.moved >= STILL]] = True
        if start is not None and turn == 0:
            moving[panel.pair_wearer[panel.moving > 0.0]] = True
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


def changed_wearers(
    panel: Panel, at: Modes, spread: dict[str, float], noise: Noise, names: tuple[str, ...]
) -> np.ndarray:
    """Wearers whose rates have clearly changed, where the population's stand still.

    The odds of a change are the chance of no steps before the readings over that after them. This
    is the ratio of Savage and Dickey (from memory).

    Parameters
    ----------
    names : tuple of str
        Of the population's unknowns, whose posterior is that of `at`.

    Returns
    -------
    ndarray of bool, shape (wearers,)
    """
    read = _read_wearers(panel)
    out = np.zeros(len(read), bool)
    if not read.any():
        return out
    part, there = panel, at
    population = at.posterior.population_mean, at.posterior.population_cov
    if not read.all():
        part = panel_part(panel, read)
        there = replace(at, stand=_part(panel, at.stand, read))
        still = coordinates(part, names, facts=facts_of(panel))
        lin = lined_up(part, still, noise, there.stand, settled=True)
        there = Modes(solve(part, still, lin, spread, population), lin, there.stand)
    part = with_moving_rates(part)
    tested = coordinates(part, names)
    lin = line_up_moving(part, there, noise)
    found = solve(part, tested, lin, spread | _TESTED, population)
    out[np.flatnonzero(read)] = _log_odds(found) > _CLEARLY
    return out


def _read_wearers(panel: Panel) -> np.ndarray:
    """Wearers who log, with enough readings on some path to show a bend."""
    rows = np.flatnonzero((panel.obs_kind < THUMB) & ~panel.obs_waist)
    many = np.bincount(panel.obs_path[rows], minlength=len(panel.nominal_mm))
    out = np.zeros(len(panel.wearer_ids), bool)
    out[panel.path_wearer[(many >= _READINGS) & ~panel.unlogged_path]] = True
    return out


def _log_odds(found: Posterior) -> np.ndarray:
    """By wearer, log chance of no steps before the readings over that after them."""
    names = found.layout.levels[3]
    rows = [i for i, n in enumerate(names) if SPREAD_OF.get(n) in ("wearer_drift", "wearer_trend")]
    before = np.array([found.spread[SPREAD_OF[names[i]]] for i in rows])
    many = found.wearer.pivots.shape[1]
    fixed = np.broadcast_to(found.population_mean[:, None], (len(found.population_mean), many))
    mean = found.wearer.means(fixed)[rows].T
    cov = found.wearer.covariance(np.zeros((0, 0, many)))[np.ix_(rows, rows)]
    cov = np.moveaxis(cov, -1, 0)
    square = np.einsum("ni,ni->n", mean, np.linalg.solve(cov, mean[..., None])[..., 0])
    return np.asarray(0.5 * (np.linalg.slogdet(cov)[1] + square) - np.log(before).sum())


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
