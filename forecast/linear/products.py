"""Matrix products in slices.

How are long thin matrices multiplied without threads that wait for each other?

A BLAS starts a thread per core for products above a size. On cores that others use as well, each
call then waits for the slowest. The products here have a few rows and up to millions of columns. We
cut them into slices below that size. That is as fast on idle cores and several times faster on busy
ones.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

__all__ = ["gram", "mix"]

Floats = npt.NDArray[np.float64]
MULTIPLICATIONS = 1 << 18  # below this OpenBLAS stays on one thread
LONGEST, SHORTEST = 8192, 1024  # columns of a slice


def gram(one: Floats, other: Floats) -> Floats:
    """`one` @ `other`.T for shapes (a, n) and (b, n) with n large; shape (a, b)."""
    out = np.zeros((len(one), len(other)))
    for part in _slices(one.shape[1], len(one) * len(other)):
        out += one[:, part] @ other[:, part].T
    return out


def mix(matrix: Floats, columns: Floats) -> Floats:
    """`matrix` @ `columns` for shapes (a, b) and (b, n) with n large; shape (a, n)."""
    out = np.empty((len(matrix), columns.shape[1]))
    for part in _slices(columns.shape[1], matrix.size):
        np.matmul(matrix, columns[:, part], out=out[:, part])
    return out


def _slices(n: int, work: int) -> list[slice]:
    reach = min(LONGEST, max(SHORTEST, MULTIPLICATIONS // max(work, 1)))
    return [slice(i, i + reach) for i in range(0, n, reach)]
