"""Posterior moments and gradients.

How sure is each unknown, and which way do the spreads want to move?

Variances and covariances come on the way back through `forecast.model.block_elimination`
(Takahashi's recursion). The gradient of the marginal likelihood is the expected score of the random
effects (Fisher's identity). A covariance also says what the bends of the observations take away.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import product

import numpy as np

from solespan.forecast.covariates import COVARIATES
from solespan.forecast.model.block_elimination import Level
from solespan.forecast.model.hierarchy import Posterior, prior_precision
from solespan.forecast.model.linearise import Linearised
from solespan.forecast.model.parameter_layout import (
    BENT,
    INTERFACE,
    PAST,
    PATH,
    SILENT,
    SPREAD_OF,
    TREND,
)
from solespan.forecast.panel.panel import Panel
from solespan.forecast.panel.rate_ages import STEP_YEARS, aged
from solespan.forecast.priors import SPREADS

__all__ = [
    "NestedState",
    "bent_covariance",
    "fitted_variance",
    "gradient",
    "past_shares",
    "pull_of_bends",
    "soles_down",
]

Down = tuple[np.ndarray, np.ndarray]
# Paths at a time: their arrays stay in the processor's cache. Their products are too small for the
# linear algebra library to wake threads of its own. Those would only wait for ours.
_BLOCK = 512
_RATE = INTERFACE.index("log_rate")
_WIDTH = len(INTERFACE)
_COVARIATES_FROM = _WIDTH - len(COVARIATES)


def gradient(panel: Panel, posterior: Posterior, spread: dict[str, float]) -> dict[str, float]:
    """Derivative of the marginal log likelihood by the log of each spread.

    Variances are those given the population, plus what the population's own uncertainty adds
    through the responses of each level's means to it.

    Returns
    -------
    dict
        By the names of `forecast.priors.SPREADS`.
    """
    path, sole, pair, wearer, _ = posterior.means()
    root = np.linalg.cholesky(posterior.population_cov).T
    out = dict.fromkeys(SPREADS, 0.0)
    steps = _down(posterior)
    names_of = dict(zip(("path", "sole", "pair", "wearer"), posterior.layout.levels, strict=True))
    means = (("wearer", wearer), ("pair", pair), ("sole", sole))
    for (level, mean), (cov, move) in zip(means, steps, strict=True):
        for i, name in enumerate(names_of[level]):
            of = SPREAD_OF.get(name, name)
            second = np.square(mean[i]) + cov[i, i] + _through(root, move[i])
            out[of] += float(np.sum(second / spread[of] ** 2 - 1.0))
    var = _path_variances(posterior, cov, move, root)
    score = (np.square(path) + var) * prior_precision(panel, spread) - 1.0
    ball, heel = panel.path_point == 0, panel.path_point == 2
    out["start"] += float(score[0][~heel].sum())
    out["packing"] += float(score[1][panel.packs > 0].sum())
    out["shoe"] += float(score[2][ball].sum())
    out["shoe_other"] += float(score[2][~ball].sum())
    return out


def _through(root: np.ndarray, move: np.ndarray) -> np.ndarray:
    """Variance that the population's adds to quantities that move with it, shape (members,)."""
    out = np.empty(move.shape[1])
    for begin in range(0, len(out), _BLOCK):
        part = slice(begin, begin + _BLOCK)
        out[part] = np.square(root @ move[:, part]).sum(axis=0)
    return out


def _down(posterior: Posterior) -> Iterator[tuple[np.ndarray, np.ndarray]]:
    """Covariances given the population, and responses to it, of wearers, pairs and soles.

    Yields
    ------
    cov : ndarray, shape (k, k, members)
        Of the level's unknowns and the random ones behind them.
    move : ndarray, shape (k + p, p, members)
        How they, and the population itself, move with the population.
    """
    p = len(posterior.population_mean)
    n_wearers = posterior.wearer.pivots.shape[1]
    cov = np.zeros((0, 0, n_wearers))
    move = np.broadcast_to(np.eye(p)[:, :, None], (p, p, n_wearers))
    for level, parent in (
        (posterior.wearer, None),
        (posterior.pair, posterior.wearer_of_pair),
        (posterior.sole, posterior.pair_of_sole),
    ):
        if parent is not None:
            cov, move = cov[:, :, parent], move[:, :, parent]
        cov = level.covariance(cov)
        move = np.concatenate([level.responses(move), move])
        yield cov, move


def soles_down(posterior: Posterior) -> Down:
    """Covariances and responses of the soles' unknowns and all behind, to be used again."""
    *_, down = _down(posterior)
    return down


class NestedState:
    """Posterior of the interface values of many paths (few: `forecast.model.dense.DenseState`)."""

    def __init__(self, posterior: Posterior) -> None:
        self._posterior, self._down = posterior, soles_down(posterior)

    @property
    def mean(self) -> np.ndarray:
        """Deviations from the prior centre, shape (12, paths)."""
        return self._posterior.layout.interface(self._posterior.unknowns())

    def bent_covariance(self) -> dict[int, np.ndarray]:
        """See `bent_covariance`."""
        return bent_covariance(self._posterior, self._down)

    def fitted_variance(self, path: np.ndarray, columns: np.ndarray) -> np.ndarray:
        """See `fitted_variance`."""
        return fitted_variance(self._posterior, path, columns, self._down)


def fitted_variance(
    posterior: Posterior, path: np.ndarray, columns: np.ndarray, down: Down | None = None
) -> np.ndarray:
    """Posterior variance of linear functions of the interface values of paths.

    Parameters
    ----------
    posterior : Posterior
    path : ndarray of int, shape (m,)
        The path of each function.
    columns : ndarray, shape (12, m)
        Its weights on the interface values.
    down : optional
        `soles_down` of the posterior, where it is at hand.

    Returns
    -------
    ndarray, shape (m,)
        Process noise not included.
    """
    cov, move = down or soles_down(posterior)
    root = np.linalg.cholesky(posterior.population_cov).T
    layout, own = posterior.layout, len(PATH)
    random = cov.shape[0]
    out = np.empty(len(path))
    for begin in range(0, len(path), _BLOCK):
        part = slice(begin, begin + _BLOCK)
        at, here = path[part], columns[:, part]
        rest = [here[layout.column[k]] for k in range(own)]
        behind = here.copy()
        noise = np.zeros(len(at))
        for k, row in enumerate(posterior.path.rows):
            coefficient = rest[k]
            taken = row[:-1, at]
            noise += np.square(coefficient) / posterior.path.pivots[k, at]
            later = own - k - 1
            for i in range(later):
                rest[k + 1 + i] = rest[k + 1 + i] - coefficient * taken[i]
            behind -= coefficient * taken[later:]
        through = behind[layout.column[own:]] * layout.weight[own:, at]
        sole = posterior.sole_of_path[at]
        out[part] = noise + np.einsum(
            "in,in->n",
            through[:random],
            np.einsum("ijn,jn->in", cov[:, :, sole], through[:random]),
        )
        response = np.einsum("in,iqn->qn", through, move[:, :, sole])
        out[part] += np.square(root @ response).sum(axis=0)
    return out


def bent_covariance(posterior: Posterior, down: Down | None = None) -> dict[int, np.ndarray]:
    """Posterior covariance of every interface value with those that act through a product.

    Returns
    -------
    dict of int to ndarray, shape (12, paths)
        By interface column: the log rate, silent wear and the multipliers, where active.
    """
    cov, move = down or soles_down(posterior)
    layout, level = posterior.layout, posterior.path
    own, random = len(PATH), cov.shape[0]
    n_paths = level.pivots.shape[1]
    bent = [c for c in BENT if c in layout.active]
    out = {c: np.empty((len(INTERFACE), n_paths)) for c in bent}
    for begin in range(0, n_paths, _BLOCK):
        part = slice(begin, begin + _BLOCK)
        sole, weight = posterior.sole_of_path[part], layout.weight[own:, part]
        here, moves = cov[:, :, sole], move[:, :, sole]
        rows = [row[:-1, part] for row in level.rows]
        for c in bent:
            functional = np.zeros_like(rows[-1])
            functional[c] = 1.0
            if c == _RATE:
                functional -= rows[-1]
            through = functional[layout.column[own:]] * weight
            response = posterior.population_cov @ np.einsum("in,iqn->qn", through, moves)
            behind = np.einsum("iqn,qn->in", moves, response)
            behind[:random] += np.einsum("ijn,jn->in", here, through[:random])
            found = layout.sums(weight, behind, own)
            alone = 1.0 / level.pivots[-1, part] if c == _RATE else 0.0
            found[layout.column[:own]] += _own_covariances(rows, found, alone)
            out[c][:, part] = found
    return out


def _own_covariances(
    rows: list[np.ndarray], behind: np.ndarray, last: np.ndarray | float
) -> np.ndarray:
    """Covariances of the paths' own unknowns with something, from those of what lies behind.

    `last` is the covariance of the last own unknown with it, given all behind.
    """
    found: list[np.ndarray] = []
    for row in reversed(rows):
        own = last - np.einsum("in,in->n", row[len(found) :], behind)
        for other, coefficient in zip(found, row[: len(found)], strict=True):
            own = own - coefficient * other
        found.insert(0, own)
        last = 0.0
    return np.asarray(found)


def _path_variances(
    posterior: Posterior, cov: np.ndarray, moves: np.ndarray, root: np.ndarray
) -> np.ndarray:
    """Marginal variances of the paths' own unknowns, shape (3, paths)."""
    level, layout = posterior.path, posterior.layout
    out = np.empty_like(level.pivots)
    own = len(PATH)
    random = cov.shape[0]
    for begin in range(0, out.shape[1], _BLOCK):
        part = slice(begin, begin + _BLOCK)
        parent = posterior.sole_of_path[part]
        piece = Level([row[:, part] for row in level.rows], level.pivots[:, part])
        weight = layout.weight[own:, part]
        column = layout.column[own:]
        here, move = cov[:, :, parent], moves[:, :, parent]
        for k in range(own):
            # the row over the level's later unknowns, turned into one over what lies behind
            total, extra = _unfold(piece, k)
            through = total[column] * weight
            out[k, part] = extra + np.einsum(
                "in,in->n", through[:random], np.einsum("ijn,jn->in", here, through[:random])
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


def past_shares(
    panel: Panel, lin: Linearised, bent: dict[int, np.ndarray], steps_back: np.ndarray
) -> dict[int, np.ndarray]:
    """How the log of wear moves with each step back: mean over the observations of a path.

    By interface column; empty where rates stand still. An observation counts by what it says of
    the wear.
    """
    steps = [k for k in range(PAST.start, PAST.stop) if k in bent]
    if not steps:
        return {}
    path, n_paths = panel.obs_path, len(panel.nominal_mm)
    factor, slopes = aged(panel.target_older[panel.obs_target], steps_back[:, path])
    told = np.square(lin.wear_mm) / lin.variance_mm2
    whole = np.maximum(np.bincount(path, told, n_paths), 1e-12)
    share = slopes / factor * told
    return {k: np.bincount(path, share[k - PAST.start], n_paths) / whole for k in steps}


def pull_of_bends(
    lin: Linearised,
    bent: dict[int, np.ndarray],
    unlogged: np.ndarray,
    past: dict[int, np.ndarray] | None = None,
) -> np.ndarray:
    """What the bends of the rows take away from what they say, given how uncertain they are.

    A row's expected squared misfit grows with the variance of its thickness. The variance grows
    with the unknowns of exp(log rate) * (exposure + exp(pace) * silent). The row's second
    derivative by the log rate and any of them is its first by that other. Its second derivative by
    a multiplier or the pace twice is its first. So the pull by one is minus the rows' products with
    it, weighed by covariances. A step back and a multiplier act as a product. Their second
    derivative is taken as that by the multiplier times `past`.

    Parameters
    ----------
    lin : Linearised
    bent : dict of int to ndarray, shape (12, paths)
        `bent_covariance` of the posterior that `lin` led to.
    unlogged : ndarray of bool, shape (paths,)
        Paths whose wear in silence is exp(pace); elsewhere it is a share of habit.
    past : dict of int to ndarray, shape (paths,), optional
        By step back: how the log of the wear so far moves with it; none where rates stand still.

    Returns
    -------
    ndarray, shape (12, paths)
        To be added to the products of the columns with the data.
    """
    out = np.zeros((_WIDTH, lin.gram.shape[-1]))
    seen = lin.kept[:-1]

    def weighed(row: int, by: int) -> np.ndarray:
        at = np.flatnonzero(seen == row)
        if not len(at) or by not in bent:
            return np.zeros(out.shape[1])
        return np.asarray(np.einsum("bn,bn->n", lin.gram[at[0], :-1], bent[by][seen]))

    for column in bent:
        out[column] -= weighed(column, _RATE)
        if column != _RATE:
            out[_RATE] -= weighed(column, column)
        if column == SILENT:
            out[column] -= unlogged * weighed(column, column)
        elif SILENT < column < _WIDTH - 1 and column != TREND:  # all but these act through exp
            out[column] -= weighed(column, column)
    if TREND in bent:
        _pull_of_past(out, weighed)
    multipliers = [column for column in bent if column >= _COVARIATES_FROM]
    for (step, share), column in product((past or {}).items(), multipliers):
        out[column] -= share * weighed(column, step)
        out[step] -= share * weighed(column, column)
    return out


def _pull_of_past(out: np.ndarray, weighed: Callable[[int, int], np.ndarray]) -> None:
    """Add what the bends take away by the steps back of a rate and its trend; `out` is moved.

    The rate of a stretch has all later steps in it, and its age is the sum of their years.
    """
    ages = np.cumsum(STEP_YEARS)
    for i, k in enumerate(range(PAST.start, TREND)):
        out[TREND] -= (ages[i] ** 2 - (ages[i] - STEP_YEARS[i]) ** 2) * weighed(k, TREND)
        for other in range(PAST.start, k):
            out[other] -= weighed(k, k)
            out[k] -= weighed(k, other)
        for row in range(k, TREND):
            years = ages[i] if row == k else STEP_YEARS[row - PAST.start]
            out[TREND] += years * weighed(row, k)
            out[k] += years * weighed(row, TREND)
