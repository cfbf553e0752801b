"""Dense solution of a small rack.

What is the posterior of one small rack, written out as one normal?

`forecast.model.block_elimination` eliminates unknowns level by level, which is linear in the number
of paths but takes some hundred array operations. A rack of few paths has so few unknowns that one
dense system is solved sooner; the answers are the same. Used where one wearer's forecasts follow a
new check.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from solespan.forecast.model.hierarchy import prior_precision
from solespan.forecast.model.linearise import Linearised
from solespan.forecast.model.parameter_layout import BENT, INTERFACE, PATH, SPREAD_OF, Coordinates
from solespan.forecast.panel.panel import Panel

__all__ = ["FEW_PATHS", "DenseRack", "DenseState"]

_RIDGE = 1e-9  # of a unit diagonal
FEW_PATHS = 20  # up to here one dense system is solved sooner than level by level


@dataclass(frozen=True)
class DenseState:
    """Posterior of the interface values of n paths.

    mean : ndarray, shape (12, n)
        Deviations from the prior centre.
    cov : ndarray, shape (n, 12, 12)
        Covariance of each path's own.
    active : ndarray of int
        Interface columns that are not zero throughout.
    """

    mean: np.ndarray
    cov: np.ndarray
    active: np.ndarray

    def bent_covariance(self) -> dict[int, np.ndarray]:
        """Same as `forecast.model.posterior_moments.bent_covariance`."""
        return {c: self.cov[:, :, c].T for c in BENT if c in self.active}

    def fitted_variance(self, path: np.ndarray, columns: np.ndarray) -> np.ndarray:
        """Same as `forecast.model.posterior_moments.fitted_variance`."""
        return np.asarray(np.einsum("im,mij,jm->m", columns, self.cov[path], columns))


class DenseRack:
    """How every unknown of a panel of few paths acts, and what is believed of it beforehand.

    Parameters
    ----------
    panel, layout
        The panel and its unknowns.
    spread : dict
        SD of each random effect, by the names of `forecast.priors.SPREADS`.
    population : (mean, covariance)
        Posterior deviations of the population from a fit.
    """

    def __init__(
        self,
        panel: Panel,
        layout: Coordinates,
        spread: dict[str, float],
        population: tuple[np.ndarray, np.ndarray],
    ) -> None:
        self._active = layout.active
        self._population = population
        n = len(panel.nominal_mm)
        members = (np.arange(n), panel.path_sole, panel.path_pair, panel.path_wearer)
        many = (n, len(panel.sole_ids), len(panel.pair_ids), len(panel.wearer_ids))
        places, precisions = [], []
        begin = 0
        for names, member, count in zip(layout.levels, members, many, strict=True):
            for name in names:
                places.append(begin + member)
                begin += count
                if name not in PATH:
                    precisions.append(np.full(count, spread[SPREAD_OF.get(name, name)] ** -2.0))
        self._random = begin
        places += [np.full(n, begin + k) for k in range(len(layout.population))]
        self._precision = np.concatenate([prior_precision(panel, spread).ravel(), *precisions])
        self._acts = np.zeros((n, len(INTERFACE), begin + len(layout.population)))
        self._acts[np.arange(n), layout.column[:, None], np.array(places)] = layout.weight

    def solve(self, lin: Linearised) -> DenseState:
        """Posterior of the interface values, given the linearised observations."""
        acts, random = self._acts, self._random
        n, width, unknowns = acts.shape
        flat = acts.reshape(n * width, unknowns)
        gram = np.moveaxis(lin.products(np.arange(len(INTERFACE) + 1)), -1, 0)
        told = (gram[:, :-1, :-1] @ acts).reshape(n * width, unknowns)
        data = gram[:, :-1, -1].reshape(-1) @ flat[:, :random]
        form = flat[:, :random].T @ told
        own = form[:, :random].copy()
        own[np.diag_indices(random)] += self._precision
        size = np.sqrt(np.diagonal(own))
        scale = size[:, None] * size  # precisions differ a millionfold
        alone = _inverse(own / scale) / scale
        moves = -alone @ form[:, random:]
        mean, population_cov = self._population
        values = np.concatenate([alone @ data + moves @ mean, mean])
        response = acts[:, :, random:] + acts[:, :, :random] @ moves
        cov = acts[:, :, :random] @ alone @ np.swapaxes(acts[:, :, :random], 1, 2)
        cov += response @ population_cov @ np.swapaxes(response, 1, 2)
        return DenseState((flat @ values).reshape(n, width).T, cov, self._active)


def _inverse(matrix: np.ndarray) -> np.ndarray:
    """Inverse of a precision of unit diagonal, where evidence may tie unknowns together."""
    try:
        return np.asarray(np.linalg.inv(matrix))
    except np.linalg.LinAlgError:
        return np.asarray(np.linalg.inv(matrix + _RIDGE * np.eye(len(matrix))))
