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
from forecast.nested import Level, eliminate
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
    """Levels after elimination, the population's posterior, and the marginal log likelihood.

    The rows of `path` run over the interface columns, those of the other levels over the unknowns
    behind them.
    """

    path: Level
    pair: Level
    wearer: Level
    population_mean: np.ndarray
    population_cov: np.ndarray
    log_likelihood: float
    layout: Coordinates
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
        path = self.path.means(self.layout.interface(of_path, skip=len(PATH)))
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
    own = len(PATH)
    index = np.r_[layout.column[:own], np.arange(lin.gram.shape[0])]
    form = lin.gram[index[:, None], index[None, :]]
    precision = prior_precision(panel, spread)
    for i in range(own):
        form[i, i] += precision[i]
    log_prior = float(np.log(precision).sum())
    path, form = eliminate(form, own)

    starts = np.flatnonzero(np.r_[True, panel.path_pair[1:] != panel.path_pair[:-1]])
    form = _expand(form, layout, starts)
    for i, name in enumerate(_PAIR_SPREAD):
        form[i, i] += spread[name] ** -2
        log_prior -= 2.0 * form.shape[-1] * np.log(spread[name])
    pair, form = eliminate(form, len(PAIR))

    starts = np.flatnonzero(np.r_[True, panel.pair_wearer[1:] != panel.pair_wearer[:-1]])
    form = np.add.reduceat(form, starts, axis=-1)
    for i, name in enumerate(_WEARER_SPREAD):
        form[i, i] += spread[name] ** -2
        log_prior -= 2.0 * form.shape[-1] * np.log(spread[name])
    wearer, form = eliminate(form, len(WEARER))

    total = np.triu(form.sum(axis=-1))
    total = total + np.triu(total, 1).T
    p = len(layout.population)
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
        layout=layout,
        pair_of_path=panel.path_pair,
        wearer_of_pair=panel.pair_wearer,
    )


def _expand(form: np.ndarray, layout: Coordinates, starts: np.ndarray) -> np.ndarray:
    """Write path forms over the interface as pair forms over the unknowns behind the paths.

    Parameters
    ----------
    form : ndarray, shape (12, 12, paths)
        Upper triangle over the interface columns and the data.
    starts : ndarray of int, shape (pairs,)
        First path of each pair.
    """
    column = np.r_[layout.column[len(PATH) :], form.shape[0] - 1]
    weight = np.concatenate([layout.weight[len(PATH) :], np.ones((1, form.shape[-1]))])
    d = len(column)
    out = np.empty((d, d, len(starts)))
    for i in range(d):
        low = np.minimum(column[i], column[i:])
        high = np.maximum(column[i], column[i:])
        block = form[low, high] * weight[i:]
        block *= weight[i]
        out[i, i:] = np.add.reduceat(block, starts, axis=-1)
    return out


def gradient(panel: Panel, posterior: Posterior, spread: dict[str, float]) -> dict[str, float]:
    """Derivative of the marginal log likelihood by the log of each spread.

    Variances are those given the population, plus what the population's own uncertainty adds
    through the responses of each level's means to it.

    Returns
    -------
    dict
        By the names of `forecast.priors.SPREADS`.
    """
    path, pair, wearer, _ = posterior.means()
    root = np.linalg.cholesky(posterior.population_cov).T
    n_wearers = wearer.shape[1]
    out = dict.fromkeys(SPREADS, 0.0)

    def variance(cov: np.ndarray, count: int, response: np.ndarray) -> np.ndarray:
        own = np.arange(count)
        total = cov[own, own].copy()
        for k in range(count):
            total[k] += np.square(root @ response[k]).sum(axis=0)
        return total

    def add(names: tuple[str, ...], mean: np.ndarray, var: np.ndarray) -> None:
        for i, name in enumerate(names):
            second = np.square(mean[i]) + var[i]
            out[name] += float(np.sum(second / spread[name] ** 2 - 1.0))

    p = len(root)
    cov_w = posterior.wearer.covariance(np.zeros((0, 0, n_wearers)))
    move_p = np.broadcast_to(np.eye(p)[:, :, None], (p, p, n_wearers))
    move_w = posterior.wearer.responses(move_p)
    add(_WEARER_SPREAD, wearer, variance(cov_w, len(WEARER), move_w))

    of_pair = panel.pair_wearer
    cov_p = posterior.pair.covariance(cov_w[:, :, of_pair])
    behind = np.concatenate([move_w, move_p])[:, :, of_pair]
    move_pair = posterior.pair.responses(behind)
    add(_PAIR_SPREAD, pair, variance(cov_p, len(PAIR), move_pair))

    var = _path_variances(posterior, cov_p, np.concatenate([move_pair, behind]), root)
    score = (np.square(path) + var) * prior_precision(panel, spread) - 1.0
    ball, heel = panel.path_point == 0, panel.path_point == 2
    out["start"] += float(score[0][~heel].sum())
    out["packing"] += float(score[1].sum())
    out["shoe"] += float(score[2][ball].sum())
    out["shoe_other"] += float(score[2][~ball].sum())
    return out


def _path_variances(
    posterior: Posterior, cov: np.ndarray, moves: np.ndarray, root: np.ndarray
) -> np.ndarray:
    """Marginal variances of the paths' own unknowns, shape (3, paths), in blocks of paths."""
    level, layout = posterior.path, posterior.layout
    out = np.empty_like(level.pivots)
    own, block = len(PATH), 2048
    random = cov.shape[0]
    for begin in range(0, out.shape[1], block):
        part = slice(begin, begin + block)
        parent = posterior.pair_of_path[part]
        piece = Level([row[:, part] for row in level.rows], level.pivots[:, part])
        weight = layout.weight[own:, part]
        column = layout.column[own:]
        here, move = cov[:, :, parent], moves[:, :, parent]
        for k in range(own):
            # the row over the level's later unknowns, turned into one over what lies behind
            total, extra = _unfold(piece, k)
            through = total[column] * weight
            out[k, part] = extra + np.einsum(
                "in,ijn,jn->n", through[:random], here, through[:random], optimize=True
            )
            response = np.einsum("in,iqn->qn", through, move)
            out[k, part] += np.square(root @ response).sum(axis=0)
    return out


def _unfold(level: Level, k: int) -> tuple[np.ndarray, np.ndarray]:
    """Unknown k of a path as minus a row over the interface plus noise: row and its variance."""
    row = level.rows[k][:-1]
    later = len(level.rows) - k - 1
    variance = 1.0 / level.pivots[k]
    own, behind = list(row[:later]), row[later:].copy()
    for j in range(later):
        coefficient = own[j]
        following = level.rows[k + 1 + j][:-1]
        variance = variance + np.square(coefficient) / level.pivots[k + 1 + j]
        rest = later - j - 1
        for i in range(rest):
            own[j + 1 + i] = own[j + 1 + i] - coefficient * following[i]
        behind -= coefficient * following[rest:]
    return behind, variance
