"""What remains of each group's rows once everything the likelihood needs has been summed up?

With Z the n by 2 random design of a group, Z = QR by Gram and Schmidt: R is upper triangular
(r11, r12; 0, r22) and needs only the count, mean and spread of the slope's covariate. Writing W for
the fixed design and the response side by side, the group is worth Q'W (two rows) and its part
W'W - W'QQ'W of one matrix summed over all groups: nothing is lost and nothing cancels, whatever the
offset of a covariate. A group with a single distinct covariate value has r22 = 0 and needs no care.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

__all__ = ["GroupSums", "sum_rows"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]
ROWS_PER_BLOCK = 1 << 16  # 0.5 MB a column: a block's temporaries stay in the processor's cache
FLAT = 1e-14  # a spread this small beside the covariate's square is rounding, not spread


@dataclass(frozen=True)
class GroupSums:
    """Sufficient statistics of m groups for k columns (fixed effects, then the response).

    `r11`, `r12`, `r22` have shape (m,); `c1` and `c2`, the two rows of Q'W, shape (k, m); `within`
    is W'W - W'QQ'W summed over groups, shape (k, k); `n_rows` counts the rows.
    """

    r11: Floats
    r12: Floats
    r22: Floats
    c1: Floats
    c2: Floats
    within: Floats
    n_rows: int

    @property
    def n_groups(self) -> int:
        """How many groups were summed."""
        return len(self.r11)

    def times(self, transform: Floats) -> GroupSums:
        """The same sums for the columns W @ transform, transform of shape (k, k)."""
        return GroupSums(
            self.r11,
            self.r12,
            self.r22,
            transform.T @ self.c1,
            transform.T @ self.c2,
            transform.T @ self.within @ transform,
            self.n_rows,
        )

    def every(self, step: int) -> GroupSums:
        """A systematic sample: one group in `step`, the pooled parts shrunk to match."""
        part = slice(None, None, step)
        share = len(self.r11[part]) / len(self.r11)
        return GroupSums(
            self.r11[part],
            self.r12[part],
            self.r22[part],
            np.ascontiguousarray(self.c1[:, part]),
            np.ascontiguousarray(self.c2[:, part]),
            self.within * share,
            round(self.n_rows * share),
        )

    def pooled(self) -> Floats:
        """W'W over all rows, shape (k, k)."""
        return self.within + self.c1 @ self.c1.T + self.c2 @ self.c2.T


def sum_rows(
    endog: Floats,
    exog: Floats,
    starts: Ints,
    slope: Floats | None,
    centre: float,
    *,
    intercept: bool,
) -> GroupSums:
    """Sum the rows of contiguous groups in one blocked pass.

    Parameters
    ----------
    endog : array (n,)
    exog : array (n, p)
    starts : array (m,)
        First row of each group; groups are contiguous and none is empty.
    slope : array (n,) or None
        Covariate of the random slope; `centre` is taken off it first.
    intercept : bool
        Whether there is a random intercept; without one, R has the single entry r11.
    """
    n, p = exog.shape
    m = len(starts)
    k = p + 1
    sums = GroupSums(
        np.zeros(m), np.zeros(m), np.zeros(m), np.zeros((k, m)), np.zeros((k, m)), np.zeros((k, k)), n
    )
    edges = np.append(starts, n)
    first = 0
    while first < m:
        reach = int(np.searchsorted(edges, edges[first] + ROWS_PER_BLOCK, "right")) - 1
        last = max(first + 1, reach)
        rows = slice(int(edges[first]), int(edges[last]))
        block = _Block(edges[first:last] - rows.start, np.diff(edges[first : last + 1]))
        columns = [np.ascontiguousarray(exog[rows, j]) for j in range(p)] + [endog[rows]]
        covariate = None if slope is None else slope[rows]
        _sum_block(
            sums, slice(first, last), columns, covariate, centre, block, intercept=intercept
        )
        first = last
    return sums


class _Block:
    """Sums over the groups of a block of rows, and values of groups laid back over their rows."""

    def __init__(self, local: Ints, count: Ints) -> None:
        self.local = local
        self.count = count
        size = int(count[0])
        self.shape = (len(count), size) if (count == size).all() else (int(count.sum()),)
        self.even = len(self.shape) == 2

    def total(self, values: Floats) -> Floats:
        """Sum per group."""
        if self.even:
            return np.einsum("ij->i", values)
        return np.add.reduceat(values, self.local)

    def product(self, one: Floats, other: Floats) -> Floats:
        """Sum of products per group."""
        if self.even:
            return np.einsum("ij,ij->i", one, other)
        return np.add.reduceat(one * other, self.local)

    def rows(self, per_group: Floats) -> Floats:
        """One value per group as something that broadcasts over the rows."""
        return per_group[:, None] if self.even else np.repeat(per_group, self.count)


def _sum_block(
    sums: GroupSums,
    groups: slice,
    columns: list[Floats],
    slope: Floats | None,
    centre: float,
    block: _Block,
    *,
    intercept: bool,
) -> None:
    """Fill the entries of one block of groups and add its part of `within`.

    A column that is constant, or the slope's covariate itself, lies in the span of Z: its products
    are known without a pass and it leaves nothing within.
    """
    root = np.sqrt(block.count)
    along_slope = sums.c2 if intercept else sums.c1
    across: Floats | None = None  # the covariate less its projection on the intercept
    spread = mean = np.zeros(len(root))
    if intercept:
        sums.r11[groups] = root
    if slope is not None:
        across = slope.reshape(block.shape) - centre
        if intercept:
            mean = block.total(across) / block.count
            across -= block.rows(mean)
        spread = block.product(across, across)
        spread[spread <= FLAT * block.count * mean * mean] = 0.0
        (sums.r22 if intercept else sums.r11)[groups] = np.sqrt(spread)
        sums.r12[groups] = root * mean
    per_spread = np.divide(1.0, spread, out=np.zeros_like(spread), where=spread > 0)
    kept, residuals = [], []
    for j, raw in enumerate(columns):
        column = raw.reshape(block.shape)
        if intercept and (raw == raw[0]).all():
            sums.c1[j, groups] = root * raw[0]
            continue
        if slope is not None and np.array_equal(raw, slope):
            along_slope[j, groups] = np.sqrt(spread)
            if intercept:
                sums.c1[j, groups] = root * (mean + centre)
            continue
        if intercept:
            level = block.total(column) / block.count
            sums.c1[j, groups] = root * level
            column = column - block.rows(level)
        if across is not None:
            steepness = block.product(across, column) * per_spread
            along_slope[j, groups] = steepness * np.sqrt(spread)
            column = column - across * block.rows(steepness)
        kept.append(j)
        residuals.append(column.ravel())
    if not kept:
        return
    stacked = np.stack(residuals)
    sums.within[np.ix_(kept, kept)] += stacked @ stacked.T
