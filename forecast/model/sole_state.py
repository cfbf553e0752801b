"""Sole state.

Where do both feet of a pair stand today: thickness and rate, jointly, with their uncertainty?

Every quantity asked of a path is linear in the unknowns. Reducing it through the elimination of
`forecast.model.block_elimination` writes it as a mean plus loadings on independent standard
normals. Two quantities share exactly the normals of the sole, the pair, the wearer and the
population they have in common.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from solespan.forecast.model.block_elimination import Level
from solespan.forecast.model.hierarchy import Posterior, shoe_spread
from solespan.forecast.model.inner_loop import Modes
from solespan.forecast.model.linearise import Linearised
from solespan.forecast.model.parameter_layout import (
    INTERFACE,
    PATH,
    SILENT,
    SPREAD_OF,
    TREND,
    Coordinates,
)
from solespan.forecast.panel.foot_pairs import FootPairs
from solespan.forecast.panel.panel import Panel

__all__ = ["Evidence", "SoleState", "future_variance", "joined", "sole_state"]


@dataclass(frozen=True)
class SoleState:
    """Joint normal of (log rate left, thickness left, log rate right, thickness right, log pace).

    mean : ndarray, shape (4 or 5, groups)
        The pace of unlogged days stands last, where there are any.
    factor : ndarray, shape (4 or 5, 4 or 5, groups)
        Lower triangular Cholesky factor of the covariance; mm and log mm per standard wear day.
    settling_mm : ndarray, shape (2, groups)
        Packing still to come, by foot: thickness above is as if it had come.
    wear_mm : ndarray, shape (2, groups)
        Expected wear so far, by foot; less of it where the rate was another then.
    skew : ndarray, shape (2, groups)
        By which the log rate of a standard normal z is lower than normal, times z^2 - 1.
    unlogged : ndarray, shape (groups,)
        1 where the wear so far was not logged, so that its log is log rate plus log pace.
    """

    mean: np.ndarray
    factor: np.ndarray
    settling_mm: np.ndarray
    wear_mm: np.ndarray
    skew: np.ndarray
    unlogged: np.ndarray

    def part(self, groups: slice) -> SoleState:
        """Some of the groups."""
        return SoleState(*(values[..., groups] for values in vars(self).values()))

    def single(self) -> SoleState:
        """Return the same in single precision."""
        return SoleState(*(values.astype(np.float32) for values in vars(self).values()))


def joined(states: Sequence[SoleState]) -> SoleState:
    """Put the groups of several states side by side."""
    every = zip(*(vars(state).values() for state in states), strict=True)
    return SoleState(*(np.concatenate(values, axis=-1) for values in every))


@dataclass(frozen=True)
class Evidence:
    """Gaussian factors on the thickness at the ends of paths: precision, and precision times mm."""

    precision: np.ndarray
    weighted: np.ndarray


def _condition(
    mean: np.ndarray, cov: np.ndarray, row: int, precision: np.ndarray, weighted: np.ndarray
) -> None:
    """Multiply normals by a Gaussian factor on one of their variables, in place."""
    shared = cov[row].copy()
    gain = shared / (1.0 + precision * shared[row])
    mean += gain * (weighted - precision * mean[row])
    cov -= precision * gain[:, None] * shared


def _reduce(
    level: Level, coefficients: np.ndarray, members: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Reduce linear functionals through one level.

    Parameters
    ----------
    coefficients : ndarray, shape (unknowns of the level and behind, functionals, members taken)
    members : ndarray of int
        Which members of the level.

    Returns
    -------
    constant (functionals, m), loadings (unknowns, functionals, m), coefficients behind
    """
    constant = np.zeros(coefficients.shape[1:])
    loadings = np.empty((len(level.rows), *coefficients.shape[1:]))
    rest = coefficients
    for j, row in enumerate(level.rows):
        here = rest[0]
        part = row[:, members]
        constant += here * part[-1]
        loadings[j] = here / np.sqrt(level.pivots[j, members])
        rest = rest[1:] - here[None] * part[:-1, None]
    return constant, loadings, rest


def sole_state(
    panel: Panel,
    at: Modes,
    feet: FootPairs,
    given: Evidence | None = None,
    ahead_years: np.ndarray | None = None,
) -> SoleState:
    """Joint posterior of log rate and settled thickness at the path ends of pairs of feet.

    Parameters
    ----------
    panel, at
        The panel and where its unknowns stand.
    feet : FootPairs
        Groups asked for.
    given : Evidence, optional
        Further evidence about the thickness at the path ends.
    ahead_years : ndarray, shape (groups,), optional
        Over how many years the log rates are to be means, where they wander; default: today's.
    """
    posterior, lin, centre = at.posterior, at.lin, at.centre
    layout = posterior.layout
    with_pace = SILENT in layout.active and bool(panel.unlogged.any())
    pieces = [
        _foot(layout, lin, posterior, centre, path, ahead_years, with_pace=with_pace and foot == 0)
        for foot, path in enumerate((feet.left, feet.right))
    ]
    sole = panel.path_sole[feet.left]
    pair = panel.sole_pair[sole]
    wearer = panel.pair_wearer[pair]
    own = [loading for _, loading, _ in pieces]
    behind = np.concatenate([c for _, _, c in pieces], axis=1)
    mean = np.concatenate([m for m, _, _ in pieces])
    constant, shared_sole, behind = _reduce(posterior.sole, behind, sole)
    mean = mean + constant
    constant, shared_pair, behind = _reduce(posterior.pair, behind, pair)
    mean = mean + constant
    constant, shared_wearer, behind = _reduce(posterior.wearer, behind, wearer)
    mean = mean + constant + np.einsum("pfn,p->fn", behind, posterior.population_mean)
    root = np.linalg.cholesky(posterior.population_cov)
    shared_population = np.einsum("pfn,pq->qfn", behind, root)
    width = mean.shape[0]
    cov = np.zeros((width, width, len(pair)))
    for loadings in (shared_sole, shared_pair, shared_wearer, shared_population):
        cov += np.einsum("kin,kjn->ijn", loadings, loadings)
    begin = 0
    for path, loadings in zip((feet.left, feet.right), own, strict=True):
        block = slice(begin, begin + loadings.shape[1])
        cov[block, block] += np.einsum("kin,kjn->ijn", loadings, loadings)
        cov[begin + 1, begin + 1] += lin.end_process_mm2[path]
        begin += loadings.shape[1]
    if with_pace:  # it came with the left foot
        order = np.array([0, 1, 3, 4, 2])
        mean, cov = mean[order], cov[order[:, None], order]
    if ahead_years is not None:  # both feet wander on together
        wandered = future_variance(posterior.spread, ahead_years) * panel.moving[pair]
        cov[np.ix_([0, 2], [0, 2])] += wandered
    cov[range(width), range(width)] += 1e-10
    if given is not None:
        for row, path in ((1, feet.left), (3, feet.right)):
            _condition(mean, cov, row, given.precision[path], given.weighted[path])
    factor = np.linalg.cholesky(np.moveaxis(cov, -1, 0))
    packing = centre[1] + _packing(posterior, layout)
    settling = np.array([lin.settling[p] * packing[p] for p in (feet.left, feet.right)])
    paths = (feet.left, feet.right)
    # of a rate that wanders, only what was the rate so far has bent the wear so far
    held = [at.log_rate_variance[p] / v for p, v in zip(paths, (cov[0, 0], cov[2, 2]), strict=True)]
    bends = np.square(np.minimum(held, 1.0)) if panel.moving.any() else np.ones(np.shape(held))
    wear = bends * [lin.end_wear_mm[p] for p in paths]
    unlogged = panel.unlogged_path[feet.left].astype(float) * with_pace
    before = np.array([_variance_before(panel, posterior, path, unlogged) for path in paths])
    now = np.array([cov[0, 0], cov[2, 2]])
    if with_pace:
        now = now + unlogged * (cov[4, 4] + 2.0 * np.array([cov[0, 4], cov[2, 4]]))
    return SoleState(
        mean,
        np.moveaxis(factor, 0, -1),
        np.maximum(settling, 0.0),
        wear,
        _skew(now, before),
        unlogged,
    )


def future_variance(spread: dict[str, float], years: np.ndarray) -> np.ndarray:
    """Variance of the mean of a log rate over some years to come, less what it is today.

    The mean of a random walk over a stretch has a third of the variance that it ends with.
    """
    per_year = spread["wearer_drift"] ** 2 + spread["pair_drift"] ** 2
    return np.asarray(per_year * years / 3.0)


def _skew(variance: np.ndarray, before: np.ndarray) -> np.ndarray:
    """Skew of log rates to the left: what is read is wear, whose log leans that way.

    Where the log told all that is known, wear is normal. Its logarithm then has the third cumulant
    -3 variance^2 to first order, half the variance times z^2 - 1. Where the log told nothing, the
    log rate is normal. In between, the skew goes by the share that was told.
    """
    told = np.clip(1.0 - variance / before, 0.0, 1.0)
    return np.asarray(0.5 * variance * told)


def _variance_before(
    panel: Panel, posterior: Posterior, path: np.ndarray, unlogged: np.ndarray
) -> np.ndarray:
    """Variance of log wear of paths from the spreads and the population alone."""
    layout, spread = posterior.layout, posterior.spread
    acts = (layout.column == INTERFACE.index("log_rate"))[:, None]
    weight = layout.weight[:, path] * (acts | ((layout.column == SILENT)[:, None] & (unlogged > 0)))
    random = len(layout.names) - len(layout.population)
    out = np.zeros(len(path))
    for name, w in zip(layout.names[:random], weight, strict=False):
        if name == "shoe":
            sd: np.ndarray | float = shoe_spread(panel, spread)[path]
        else:
            sd = spread[SPREAD_OF.get(name, name)]
        out += np.square(w * sd)
    root = np.linalg.cholesky(posterior.population_cov)
    return np.asarray(out + np.square(root.T @ weight[random:]).sum(axis=0))


def _packing(posterior: Posterior, layout: Coordinates) -> np.ndarray:
    unknowns = posterior.unknowns()
    rows = layout.column == 1
    return np.asarray((unknowns[rows] * layout.weight[rows]).sum(axis=0))


def _foot(
    layout: Coordinates,
    lin: Linearised,
    posterior: Posterior,
    centre: np.ndarray,
    path: np.ndarray,
    ahead_years: np.ndarray | None,
    *,
    with_pace: bool,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Mean, own loadings and coefficients behind of (log rate, thickness[, pace]) of some paths."""
    columns = np.r_[layout.column[: len(PATH)], np.arange(len(INTERFACE))]
    rate = np.repeat((columns == 2).astype(float)[:, None], len(path), axis=1)
    if ahead_years is not None:
        rate[len(PATH) + TREND] = 0.5 * ahead_years
    thickness = lin.end_columns[columns][:, path]
    functionals, means = [rate, thickness], [centre[2, path], lin.end_mm[path]]
    if with_pace:
        functionals.append(np.repeat((columns == SILENT).astype(float)[:, None], len(path), axis=1))
        means.append(centre[SILENT, path])
    coefficients, mean = np.stack(functionals, axis=1), np.array(means)
    constant, loadings, behind = _reduce(posterior.path, coefficients, path)
    weight = layout.weight[len(PATH) :, path]
    return mean + constant, loadings, behind[layout.column[len(PATH) :]] * weight[:, None]
