"""Hierarchical posterior.

Given the linearised observations and the spreads, what is the posterior of every unknown?

Joins `forecast.model.linearise` (one matrix per path) to `forecast.model.block_elimination`
(elimination by level): gives the marginal likelihood and posterior means;
`forecast.model.posterior_moments` finds variances from it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from solespan.forecast.model.block_elimination import Level, eliminate, first_of, sum_groups
from solespan.forecast.model.linearise import Linearised
from solespan.forecast.model.parameter_layout import INTERFACE, PATH, SPREAD_OF, Coordinates
from solespan.forecast.panel.panel import Panel
from solespan.forecast.priors import HEEL_START_SD_MM

__all__ = [
    "Posterior",
    "Totals",
    "levels_of",
    "population_of",
    "prior_precision",
    "shoe_spread",
    "solve",
    "with_population",
]


_NO_PACKING_MM = 1e-4
_FEW_PATHS = 200  # below this, one array operation over the whole square costs less than several


@dataclass(frozen=True)
class Posterior:
    """Levels after elimination, the population's posterior, and the marginal log likelihood.

    The rows of `path` run over the interface columns, those of the other levels over the unknowns
    behind them.
    """

    path: Level
    sole: Level
    pair: Level
    wearer: Level
    population_mean: np.ndarray
    population_cov: np.ndarray
    log_likelihood: float
    layout: Coordinates
    sole_of_path: np.ndarray
    pair_of_sole: np.ndarray
    wearer_of_pair: np.ndarray
    spread: dict[str, float]

    def means(self) -> tuple[np.ndarray, ...]:
        """Posterior mean deviations: by path, sole, pair, wearer (unknowns, members), and (p,)."""
        population = self.population_mean
        n_wearers = self.wearer.pivots.shape[1]
        behind = np.broadcast_to(population[:, None], (len(population), n_wearers))
        wearer = self.wearer.means(behind)
        behind = np.concatenate([wearer, behind])[:, self.wearer_of_pair]
        pair = self.pair.means(behind)
        behind = np.concatenate([pair, behind])[:, self.pair_of_sole]
        sole = self.sole.means(behind)
        behind = np.concatenate([sole, behind])[:, self.sole_of_path]
        path = self.path.means(self.layout.interface(behind, skip=len(PATH)))
        return path, sole, pair, wearer, population

    def unknowns(self) -> np.ndarray:
        """Posterior mean of every unknown, laid out per path, shape (unknowns, paths)."""
        path, sole, pair, wearer, population = self.means()
        pair_of_path = self.pair_of_sole[self.sole_of_path]
        fixed = np.broadcast_to(population[:, None], (len(population), path.shape[1]))
        return np.concatenate(
            [
                path,
                sole[:, self.sole_of_path],
                pair[:, pair_of_path],
                wearer[:, self.wearer_of_pair[pair_of_path]],
                fixed,
            ]
        )


@dataclass(frozen=True)
class Totals:
    """What a panel says of the population: quadratic form (p + 1, p + 1), and log determinants.

    Only the upper triangle of `matrix` is meaningful; `log_det` is less the priors' own.
    """

    matrix: np.ndarray
    log_det: float

    def __add__(self, other: Totals) -> Totals:
        """Sum over parts."""
        return Totals(self.matrix + other.matrix, self.log_det + other.log_det)


def prior_precision(panel: Panel, spread: dict[str, float]) -> np.ndarray:
    """Prior precision of each path's own unknowns, shape (3, paths)."""
    point = panel.path_point
    start_sd = np.where(point == 2, HEEL_START_SD_MM, spread["start"])
    packing_sd = np.where(panel.packs > 0, spread["packing"], _NO_PACKING_MM)
    return np.asarray(1.0 / np.square([start_sd, packing_sd, shoe_spread(panel, spread)]))


def shoe_spread(panel: Panel, spread: dict[str, float]) -> np.ndarray:
    """SD of each path's own part of the log rate."""
    return np.where(panel.path_point == 0, spread["shoe"], spread["shoe_other"])


def solve(
    panel: Panel,
    layout: Coordinates,
    lin: Linearised,
    spread: dict[str, float],
    population: tuple[np.ndarray, np.ndarray] | None = None,
) -> Posterior:
    """Eliminate every level and find the population's posterior.

    Parameters
    ----------
    panel, layout, lin
        The panel, its unknowns, its linearised observations.
    spread : dict
        SD of each random effect, by the names of `forecast.priors.SPREADS`.
    population : (mean, covariance), optional
        Posterior deviations of the population from an earlier fit: then only the levels below are
        solved, given it. Default: the prior of `layout`.

    Returns
    -------
    Posterior
    """
    levels, totals = levels_of(panel, layout, lin, spread)
    if population is None:
        return with_population(panel, layout, levels, spread, *population_of(layout, totals))
    return with_population(panel, layout, levels, spread, *population, float("nan"))


def levels_of(
    panel: Panel, layout: Coordinates, lin: Linearised, spread: dict[str, float]
) -> tuple[tuple[Level, Level, Level, Level], Totals]:
    """Eliminate paths, soles, pairs and wearers; what remains is all the population need know.

    The totals of parts of a panel, split by wearer, add up to those of the whole.
    """
    _, sole_names, pair_names, wearer_names = layout.levels
    path, form, log_prior = _path_level(panel, layout, lin, spread)

    form = _expand(form, layout, panel)
    log_prior += _add_priors(form, sole_names, spread)
    sole, form = eliminate(form, len(sole_names))

    form = sum_groups(form, first_of(panel.sole_pair))
    log_prior += _add_priors(form, pair_names, spread)
    pair, form = eliminate(form, len(pair_names))

    form = sum_groups(form, first_of(panel.pair_wearer))
    log_prior += _add_priors(form, wearer_names, spread)
    wearer, form = eliminate(form, len(wearer_names))

    log_det = path.log_det + sole.log_det + pair.log_det + wearer.log_det
    totals = Totals(np.triu(form.sum(axis=-1)), log_det + lin.log_det - log_prior)
    return (path, sole, pair, wearer), totals


def population_of(layout: Coordinates, totals: Totals) -> tuple[np.ndarray, np.ndarray, float]:
    """Posterior mean deviation and covariance of the population, and the log likelihood."""
    p = len(layout.population)
    total = totals.matrix + np.triu(totals.matrix, 1).T
    before, told = layout.before
    precision = total[:p, :p] + told
    cov = np.linalg.inv(precision)
    cov = 0.5 * (cov + cov.T)
    weighted = total[:p, p] + told @ before
    mean = cov @ weighted
    quadratic = total[p, p] + before @ told @ before - weighted @ mean
    log_det = totals.log_det + float(np.linalg.slogdet(precision)[1])
    log_det -= float(np.linalg.slogdet(told)[1])
    return mean, cov, -0.5 * float(quadratic + log_det)


def with_population(
    panel: Panel,
    layout: Coordinates,
    levels: tuple[Level, Level, Level, Level],
    spread: dict[str, float],
    mean: np.ndarray,
    cov: np.ndarray,
    log_likelihood: float,
) -> Posterior:
    """Posterior of a panel's unknowns, or of a part's, given the population's."""
    path, sole, pair, wearer = levels
    return Posterior(
        path=path,
        sole=sole,
        pair=pair,
        wearer=wearer,
        population_mean=mean,
        population_cov=cov,
        log_likelihood=log_likelihood,
        layout=layout,
        sole_of_path=panel.path_sole,
        pair_of_sole=panel.sole_pair,
        wearer_of_pair=panel.pair_wearer,
        spread=spread,
    )


def _path_level(
    panel: Panel, layout: Coordinates, lin: Linearised, spread: dict[str, float]
) -> tuple[Level, np.ndarray, float]:
    """Eliminate the paths' own unknowns over the active interface columns."""
    own, last = len(PATH), len(INTERFACE)
    form = lin.products(np.r_[layout.column[:own], layout.active, last])
    precision = prior_precision(panel, spread)
    for i in range(own):
        form[i, i] += precision[i]
    level, form = eliminate(form, own)
    rows = []
    for j, row in enumerate(level.rows):
        later = own - j - 1
        wide = np.zeros((later + last + 1, row.shape[1]))
        wide[:later] = row[:later]
        wide[later + layout.active] = row[later:-1]
        wide[-1] = row[-1]
        rows.append(wide)
    return Level(rows, level.pivots), form, float(np.log(precision).sum())


def _add_priors(form: np.ndarray, names: tuple[str, ...], spread: dict[str, float]) -> float:
    """Add the priors of a level's unknowns to its form; returns their log precisions' sum."""
    total = 0.0
    for i, name in enumerate(names):
        sd = spread[SPREAD_OF.get(name, name)]
        form[i, i] += sd**-2
        total -= 2.0 * form.shape[-1] * float(np.log(sd))
    return total


def _expand(form: np.ndarray, layout: Coordinates, panel: Panel) -> np.ndarray:
    """Write path forms over the interface as sole forms over the unknowns behind the paths.

    Parameters
    ----------
    form : ndarray, shape (active + 1, active + 1, paths)
        Upper triangle over the active interface columns and the data.
    """
    place = np.zeros(len(INTERFACE), int)
    place[layout.active] = np.arange(len(layout.active))
    column = np.r_[place[layout.column[len(PATH) :]], form.shape[0] - 1]
    weight = np.concatenate([layout.weight[len(PATH) :], np.ones((1, form.shape[-1]))])
    starts = first_of(panel.path_sole)
    d = len(column)
    if form.shape[-1] < _FEW_PATHS:
        low, high = np.minimum.outer(column, column), np.maximum.outer(column, column)
        return sum_groups(form[low, high] * weight * weight[:, None], starts)
    out = np.zeros((d, d, len(starts)))
    for i in range(d):
        low = np.minimum(column[i], column[i:])
        high = np.maximum(column[i], column[i:])
        block = form[low, high] * weight[i:]
        block *= weight[i]
        out[i, i:] = sum_groups(block, starts)
    return out
