"""Sufficient statistics of groups.

What remains of each group's rows once everything the likelihood needs has been summed up?

Z is the n by 2 random design of a group, and Z = QR by Gram and Schmidt. R is upper triangular
(r11, r12; 0, r22). It needs only the count, mean and spread of the slope's covariate. W is the
fixed design and the response side by side. A group then reduces to Q'W (two rows) and its part W'W
- W'QQ'W of a common sum. Nothing is lost and nothing cancels, whatever the offset of a covariate. A
group with a single distinct covariate value has r22 = 0 and needs no care.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from solespan.forecast.linear.products import gram, mix

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
        """Turn to the columns W @ transform, transform of shape (k, k)."""
        return GroupSums(
            self.r11,
            self.r12,
            self.r22,
            mix(transform.T, self.c1),
            mix(transform.T, self.c2),
            transform.T @ self.within @ transform,
            self.n_rows,
        )

    def every(self, step: int) -> GroupSums:
        """Take one group in `step`, the pooled parts shrunk to match."""
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
        return self.within + gram(self.c1, self.c1) + gram(self.c2, self.c2)


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
        np.zeros(m),
        np.zeros(m),
        np.zeros(m),
        np.zeros((k, m)),
        np.zeros((k, m)),
        np.zeros((k, k)),
        n,
    )
    edges = np.append(starts, n)
    first = 0
    while first < m:
        reach = int(np.searchsorted(edges, edges[first] + ROWS_PER_BLOCK, "right")) - 1
        groups = slice(first, max(first + 1, reach))
        rows = slice(int(edges[first]), int(edges[groups.stop]))
        layout = _Layout(edges[groups] - rows.start, np.diff(edges[first : groups.stop + 1]))
        covariate = None if slope is None else slope[rows]
        design = _Design(layout, covariate, centre, intercept=intercept)
        sums.r11[groups], sums.r12[groups], sums.r22[groups] = design.factor()
        rests: dict[int, Floats] = {}
        for j in range(k):
            column = np.ascontiguousarray(exog[rows, j]) if j < p else endog[rows]
            sums.c1[j, groups], sums.c2[j, groups], rest = design.project(column)
            if rest is not None:
                rests[j] = rest.ravel()
        if rests:
            kept = list(rests)
            stacked = np.stack([rests[j] for j in kept])
            sums.within[np.ix_(kept, kept)] += gram(stacked, stacked)
        first = groups.stop
    return sums


class _Layout:
    """Sums over the groups of a block of rows, and values of groups laid back over their rows."""

    def __init__(self, local: Ints, count: Ints) -> None:
        self.local = local
        self.count = count
        size = int(count[0])
        self.even = bool((count == size).all())
        self.shape = (len(count), size) if self.even else (int(count.sum()),)

    def total(self, one: Floats, other: Floats | None = None) -> Floats:
        """Sum per group, of one column or of the product of two."""
        if not self.even:
            return np.asarray(np.add.reduceat(one if other is None else one * other, self.local))
        if other is None:
            return np.asarray(np.einsum("ij->i", one))
        return np.asarray(np.einsum("ij,ij->i", one, other))

    def over_rows(self, per_group: Floats) -> Floats:
        """Lay one value per group out so that it broadcasts over the rows."""
        return per_group[:, None] if self.even else np.repeat(per_group, self.count)


class _Design:
    """Z = QR of every group of a block, and what Q'W and W - QQ'W are for a column of W."""

    def __init__(
        self, layout: _Layout, slope: Floats | None, centre: float, *, intercept: bool
    ) -> None:
        self.layout = layout
        self.slope = slope
        self.centre = centre
        self.intercept = intercept
        self.root = np.sqrt(layout.count)
        self.mean = self.spread = self.per_spread = np.zeros(len(layout.count))
        if slope is None:
            return
        self.across = slope.reshape(layout.shape) - centre  # less its projection on the intercept
        if intercept:
            self.mean = layout.total(self.across) / layout.count
            self.across -= layout.over_rows(self.mean)
        spread = layout.total(self.across, self.across)
        spread[spread <= FLAT * layout.count * self.mean**2] = 0.0
        self.spread = np.sqrt(spread)
        self.per_spread = np.divide(1.0, self.spread, out=np.zeros_like(spread), where=spread > 0)

    def factor(self) -> tuple[Floats, Floats, Floats]:
        """Give the entries r11, r12, r22 of R."""
        none = np.zeros(len(self.root))
        if self.intercept:
            return self.root, self.root * self.mean, self.spread
        return self.spread, none, none

    def project(self, raw: Floats) -> tuple[Floats, Floats, Floats | None]:
        """Give both rows of Q'W of one column, and what is left of it; None if nothing is.

        A constant column, or the slope's covariate itself, lies in the span of Z: its products are
        known without a pass.
        """
        none = np.zeros(len(self.root))
        if self.intercept and (raw == raw[0]).all():
            return self.root * raw[0], none, None
        if self.slope is not None and np.array_equal(raw, self.slope):
            if self.intercept:
                return self.root * (self.mean + self.centre), self.spread, None
            return self.spread, none, None
        rest = raw.reshape(self.layout.shape)
        level = steepness = none
        if self.intercept:
            mean = self.layout.total(rest) / self.layout.count
            rest = rest - self.layout.over_rows(mean)
            level = self.root * mean
        if self.slope is not None:
            steepness = self.layout.total(self.across, rest) * self.per_spread
            rest = rest - self.across * self.layout.over_rows(steepness * self.per_spread)
        return (level, steepness, rest) if self.intercept else (steepness, none, rest)
