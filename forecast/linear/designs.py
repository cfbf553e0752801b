"""Random-effect designs.

How many different random designs are there, and what do the groups of each add up to?

Groups read on the same schedule share R. The likelihood then needs their products only in sum, and
a step costs as much as there are designs, however many groups. Groups worn at their own pace share
nothing, and are walked through in blocks that stay in the processor's cache.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from solespan.forecast.linear.rows import GroupSums

__all__ = ["Designs", "shared_designs", "walk"]

Floats = npt.NDArray[np.float64]
GROUPS_PER_BLOCK = 8192  # measured: temporaries of about 4 MB, little overhead per group
PROBE = 256  # groups looked at before all are compared
FEW = 8  # groups per design below which walking through them is as quick


@dataclass(frozen=True)
class Designs:
    """Random designs, shape (d,) each, and what their groups add up to.

    `times` counts the groups of each design; `squares` has shape (pairs, 3, d): for each pair of
    columns a <= b the sums of c1c1', c1c2' + c2c1' and c2c2'.
    """

    r11: Floats
    r12: Floats
    r22: Floats
    times: Floats
    squares: Floats


def walk(sums: GroupSums) -> Iterator[Designs]:
    """Every group as a design of its own, block by block."""
    for block in _blocks(sums.n_groups):
        r11 = sums.r11[block]
        squares = _squares(sums.c1[:, block], sums.c2[:, block])
        yield Designs(r11, sums.r12[block], sums.r22[block], np.ones(len(r11)), squares)


def shared_designs(sums: GroupSums) -> Designs | None:
    """Sum the groups of each different design; None if most groups have their own."""
    factors = np.stack((sums.r11, sums.r12, sums.r22))
    if len(np.unique(factors[:, :PROBE], axis=1).T) * FEW > min(PROBE, sums.n_groups):
        return None
    codes, _ = pd.factorize(factors[0] + np.sqrt(2.0) * factors[1] + np.sqrt(3.0) * factors[2])
    n_designs = int(codes.max()) + 1
    first = np.zeros(n_designs, dtype=np.intp)
    first[codes[::-1]] = np.arange(sums.n_groups - 1, -1, -1)
    own = factors[:, first]
    if n_designs * FEW > sums.n_groups or not np.array_equal(own[:, codes], factors):
        return None
    size = len(sums.c1)
    squares = np.zeros((size * (size + 1) // 2, 3, n_designs))
    for block in _blocks(sums.n_groups):
        of_groups = _squares(sums.c1[:, block], sums.c2[:, block])
        for pair, kind in np.ndindex(squares.shape[:2]):
            weights = of_groups[pair, kind]
            squares[pair, kind] += np.bincount(codes[block], weights, n_designs)
    times = np.bincount(codes, minlength=n_designs).astype(np.float64)
    return Designs(own[0], own[1], own[2], times, squares)


def _blocks(n_groups: int) -> list[slice]:
    return [slice(i, i + GROUPS_PER_BLOCK) for i in range(0, n_groups, GROUPS_PER_BLOCK)]


def _squares(c1: Floats, c2: Floats) -> Floats:
    """For each pair of columns a <= b: c1c1', c1c2' + c2c1' and c2c2'; shape (pairs, 3, groups)."""
    size, groups = c1.shape
    out = np.empty((size * (size + 1) // 2, 3, groups))
    row = 0
    for a in range(size):
        for b in range(a, size):
            np.multiply(c1[a], c1[b], out=out[row, 0])
            np.multiply(c1[a], c2[b], out=out[row, 1])
            out[row, 1] += out[row, 1] if a == b else c2[a] * c1[b]
            np.multiply(c2[a], c2[b], out=out[row, 2])
            row += 1
    return out
