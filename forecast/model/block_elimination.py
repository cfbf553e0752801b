"""Block elimination (Schur complements).

How are random effects nested as path in pair in wearer in population integrated out?

The linearised model is Gaussian, so all that is needed is a quadratic form in the unknowns. The
unknowns are eliminated level by level (paths first, the population last). Each elimination is one
vectorised step over all members of a level, so the cost is linear in the number of paths. Arrays
keep the members on the last axis: a symmetric form of d unknowns for n members has shape (d, d, n).
Its last coordinate is the data, with z'Qz - 2 z'q + yy written as one matrix.

Elimination of unknown j divides its row by the pivot. The rows are kept to find means and variances
on the way back (Takahashi's recursion for the inverse of a sparse matrix).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

__all__ = ["Level", "eliminate", "first_of", "sum_groups"]


_FEW_MEMBERS = 100  # below this, one array operation over a whole square costs less than several
_EQUAL_SIZES = 4  # up to here strided sums beat reduceat several times over


@dataclass(frozen=True)
class Level:
    """What remains of a level after its unknowns were eliminated.

    rows : list of ndarray, each (remaining unknowns + 1, members)
        Row of each eliminated unknown over the coordinates behind it, divided by its pivot. The
        last coordinate is the data.
    pivots : ndarray, shape (unknowns, members)
        Conditional precision of each unknown given those behind it.
    """

    rows: list[np.ndarray]
    pivots: np.ndarray

    @property
    def log_det(self) -> float:
        """Sum of the log pivots over unknowns and members."""
        return float(np.log(self.pivots).sum())

    def means(self, behind: np.ndarray) -> np.ndarray:
        """Posterior means of the level's unknowns, given those of the levels behind.

        Parameters
        ----------
        behind : ndarray, shape (unknowns behind, members)

        Returns
        -------
        ndarray, shape (unknowns of the level, members)
        """
        known = behind
        for row in reversed(self.rows):
            here = row[-1] - np.einsum("in,in->n", row[:-1], known)
            known = np.concatenate([here[None], known])
        return known[: len(self.rows)]

    def covariance(self, behind: np.ndarray) -> np.ndarray:
        """Joint covariance of the level's unknowns and some of those behind.

        Parameters
        ----------
        behind : ndarray, shape (b, b, members)
            Covariance of the first b unknowns behind; the others count as known.

        Returns
        -------
        ndarray, shape (k + b, k + b, members)
        """
        known = behind
        for row, pivot in zip(reversed(self.rows), self.pivots[::-1], strict=True):
            size = known.shape[0]
            cross = -np.einsum("in,ijn->jn", row[:size], known)
            out = np.empty((size + 1, size + 1, known.shape[-1]))
            out[1:, 1:] = known
            out[0, 1:] = out[1:, 0] = cross
            out[0, 0] = 1.0 / pivot - np.einsum("in,in->n", row[:size], cross)
            known = out
        return known

    def responses(self, behind: np.ndarray) -> np.ndarray:
        """How the level's means move with quantities behind.

        Parameters
        ----------
        behind : ndarray, shape (unknowns behind, quantities, members)
            How each unknown behind moves with each quantity.

        Returns
        -------
        ndarray, shape (unknowns of the level, quantities, members)
        """
        own: list[np.ndarray] = []
        for row in reversed(self.rows):
            move = -np.einsum("in,iqn->qn", row[len(own) : -1], behind)
            for other, coefficient in zip(own, row[: len(own)], strict=True):
                move -= coefficient * other
            own.insert(0, move)
        return np.asarray(own)


def eliminate(form: np.ndarray, count: int) -> tuple[Level, np.ndarray]:
    """Eliminate the first `count` unknowns of a quadratic form.

    Parameters
    ----------
    form : ndarray, shape (d, d, members)
        Symmetric, priors included; only its upper triangle is read. Overwritten.
    count : int
        How many unknowns to eliminate.

    Returns
    -------
    Level
        Rows and pivots for the way back.
    ndarray, shape (d - count, d - count, members)
        The form over what remains; only its upper triangle is meaningful.
    """
    rows: list[np.ndarray] = []
    pivots = np.empty((count, form.shape[-1]))
    for j in range(count):
        pivots[j] = form[j, j]
        row = form[j, j + 1 :] / form[j, j]
        if form.shape[-1] < _FEW_MEMBERS:
            form[j + 1 :, j + 1 :] -= form[j, j + 1 :, None] * row
        else:
            for i in range(len(row)):
                form[j + 1 + i, j + 1 + i :] -= form[j, j + 1 + i] * row[i:]
        rows.append(row)
    return Level(rows, pivots), form[count:, count:]


def first_of(parent: np.ndarray) -> np.ndarray:
    """First member of each parent; members of a parent are contiguous."""
    begins = np.ones(len(parent), bool)
    np.not_equal(parent[1:], parent[:-1], out=begins[1:])
    return np.flatnonzero(begins)


def sum_groups(values: np.ndarray, starts: np.ndarray) -> np.ndarray:
    """Sums over contiguous groups along the last axis.

    Parameters
    ----------
    values : ndarray, shape (..., members)
    starts : ndarray of int, shape (groups,)
        First member of each group; no group is empty.
    """
    members = values.shape[-1]
    size, rest = divmod(members, max(len(starts), 1))
    if rest == 0 and size <= _EQUAL_SIZES and (starts == np.arange(len(starts)) * size).all():
        total = values[..., 0::size].copy()
        for k in range(1, size):
            total += values[..., k::size]
        return np.asarray(total)
    return np.add.reduceat(values, starts, axis=-1)
