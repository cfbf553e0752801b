"""Given the linearised observations and the spreads, what is the posterior of every unknown?

Joins `forecast.linearise` (one matrix per path) to `forecast.nested` (elimination by level): gives
the marginal likelihood, its gradient by the log spreads (Fisher's identity: the gradient is the
expected score of the random effects), posterior means and the joint covariance needed by dates.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from forecast.coordinates import PAIR, PATH, WEARER, Coordinates
from forecast.linearise import Linearised
from forecast.nested import Level, eliminate, sum_members
from forecast.panel import Panel
from forecast.priors import HEEL_START_SD_MM, SPREADS

__all__ = ["Posterior", "gradient", "prior_precision", "solve"]

_PATH_SPREAD = ("start", "packing", "shoe")
_PAIR_SPREAD = ("pair", "pair_foot", "gap")
_WEARER_SPREAD = (
    "wearer",
    "wearer_foot",
    "wearer_point",
    "wearer_point",
    "gauge",
    "thumb",
)


@dataclass(frozen=True)
class Posterior:
    """Levels after elimination, the population's posterior, and the marginal log likelihood."""

    path: Level
    pair: Level
    wearer: Level
    population_mean: np.ndarray
    population_cov: np.ndarray
    log_likelihood: float
    pair_of_path: np.ndarray
    wearer_of_pair: np.ndarray

    def means(self) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """Posterior mean deviations: path (3, n), pair (3, n), wearer (6, n), population (p,)."""
        population = self.population_mean
        n_wearers = self.wearer.pivots.shape[1]
        behind_wearer = np.broadcast_to(population[:, None], (len(population), n_wearers))
        wearer = self.wearer.means(behind_wearer)
        of_pair = np.concatenate([wearer, behind_wearer])[:, self.wearer_of_pair]
        pair = self.pair.means(of_pair)
        of_path = np.concatenate([pair, of_pair])[:, self.pair_of_path]
        path = self.path.means(of_path)
        return path, pair, wearer, population

    def unknowns(self) -> np.ndarray:
        """Posterior mean of every unknown, laid out per path, shape (unknowns, paths)."""
        path, pair, wearer, population = self.means()
        wearer_of_path = self.wearer_of_pair[self.pair_of_path]
        fixed = np.broadcast_to(population[:, None], (len(population), path.shape[1]))
        return np.concatenate(
            [path, pair[:, self.pair_of_path], wearer[:, wearer_of_path], fixed]
        )


def prior_precision(panel: Panel, spread: dict[str, float]) -> np.ndarray:
    """Prior precision of each path's own unknowns, shape (3, paths)."""
    point = panel.path_point
    start_sd = np.where(point == 2, HEEL_START_SD_MM, spread["start"])
    shoe_sd = np.where(point == 0, spread["shoe"], spread["shoe_other"])
    packing_sd = np.full(len(point), spread["packing"])
    return np.asarray(1.0 / np.square([start_sd, packing_sd, shoe_sd]))


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
    d = len(layout.names)
    index = np.r_[layout.column, lin.gram.shape[0] - 1]
    weight = np.concatenate([layout.weight, np.ones((1, layout.weight.shape[1]))])
    form = lin.gram[index[:, None], index[None, :]]
    form *= weight[:, None] * weight[None, :]
    precision = prior_precision(panel, spread)
    for i in range(len(PATH)):
        form[i, i] += precision[i]
    log_prior = float(np.log(precision).sum())
    path, form = eliminate(form, len(PATH))

    starts = np.flatnonzero(np.r_[True, panel.path_pair[1:] != panel.path_pair[:-1]])
    form = sum_members(form, starts)
    for i, name in enumerate(_PAIR_SPREAD):
        form[i, i] += spread[name] ** -2
        log_prior -= 2.0 * form.shape[-1] * np.log(spread[name])
    pair, form = eliminate(form, len(PAIR))

    starts = np.flatnonzero(np.r_[True, panel.pair_wearer[1:] != panel.pair_wearer[:-1]])
    form = sum_members(form, starts)
    for i, name in enumerate(_WEARER_SPREAD):
        form[i, i] += spread[name] ** -2
        log_prior -= 2.0 * form.shape[-1] * np.log(spread[name])
    wearer, form = eliminate(form, len(WEARER))

    total = form.sum(axis=-1)
    p = d - len(PATH) - len(PAIR) - len(WEARER)
    if population is not None:
        mean, cov = population
        log_likelihood = float("nan")
    else:
        precision_p = total[:p, :p] + np.diag(layout.prior_sd**-2.0)
        cov = np.linalg.inv(precision_p)
        cov = 0.5 * (cov + cov.T)
        mean = cov @ total[:p, p]
        quadratic = total[p, p] - total[:p, p] @ mean
        log_det = path.log_det + pair.log_det + wearer.log_det
        log_det += float(np.linalg.slogdet(precision_p)[1]) + lin.log_det
        log_prior -= 2.0 * float(np.log(layout.prior_sd).sum())
        log_likelihood = -0.5 * (quadratic + log_det - log_prior)
    return Posterior(
        path=path,
        pair=pair,
        wearer=wearer,
        population_mean=mean,
        population_cov=cov,
        log_likelihood=log_likelihood,
        pair_of_path=panel.path_pair,
        wearer_of_pair=panel.pair_wearer,
    )


def gradient(panel: Panel, posterior: Posterior, spread: dict[str, float]) -> dict[str, float]:
    """Derivative of the marginal log likelihood by the log of each spread.

    Returns
    -------
    dict
        By the names of `forecast.priors.SPREADS`.
    """
    path, pair, wearer, _ = posterior.means()
    cov_w = posterior.wearer.covariance(posterior.population_cov[:, :, None])
    cov_p = posterior.pair.covariance(cov_w[:, :, panel.pair_wearer])
    out = dict.fromkeys(SPREADS, 0.0)

    def add(names: tuple[str, ...], mean: np.ndarray, variance: np.ndarray) -> None:
        for i, name in enumerate(names):
            second = np.square(mean[i]) + variance[i]
            out[name] += float(np.sum(second / spread[name] ** 2 - 1.0))

    diagonal = np.arange(len(WEARER))
    add(_WEARER_SPREAD, wearer, cov_w[diagonal, diagonal])
    diagonal = np.arange(len(PAIR))
    add(_PAIR_SPREAD, pair, cov_p[diagonal, diagonal])
    variance = _path_variances(posterior.path, cov_p, panel.path_pair)
    precision = prior_precision(panel, spread)
    score = (np.square(path) + variance) * precision - 1.0
    ball, heel = panel.path_point == 0, panel.path_point == 2
    out["start"] += float(score[0][~heel].sum())
    out["packing"] += float(score[1].sum())
    out["shoe"] += float(score[2][ball].sum())
    out["shoe_other"] += float(score[2][~ball].sum())
    return out


def _path_variances(level: Level, behind: np.ndarray, parent: np.ndarray) -> np.ndarray:
    """Marginal variances of the paths' own unknowns, shape (3, paths), in blocks of paths."""
    out = np.empty_like(level.pivots)
    block = 4096
    for begin in range(0, out.shape[1], block):
        part = slice(begin, begin + block)
        piece = Level([row[:, part] for row in level.rows], level.pivots[:, part])
        cov = piece.covariance(behind[:, :, parent[part]])
        diagonal = np.arange(len(PATH))
        out[:, part] = cov[diagonal, diagonal]
    return out
