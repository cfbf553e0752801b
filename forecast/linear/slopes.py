"""Random-slope model.

How do lines differ between groups: a mixed model of random intercept and slope, at any size?

The model is y = X beta + b0 + b1 x + e with (b0, b1) random per group. It is the linear relative of
the wear model, for rates that need not stay positive, and its reference. Each group's rows are
summed once. After that the cost of a step does not depend on their number.

Method: profiled likelihood in the Cholesky factor of the relative covariance (Bates, Maechler,
Bolker, Walker, Journal of Statistical Software 67:1, 2015), with exact second derivatives.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from solespan.forecast.errors import BadFrame, FitFailed
from solespan.forecast.linear.likelihood import Deviance, factor
from solespan.forecast.linear.panel import panel
from solespan.forecast.linear.results import SlopesResults
from solespan.forecast.linear.rows import GroupSums, sum_rows
from solespan.forecast.linear.search import best_covariance

__all__ = ["SlopesModel", "SlopesResults"]

Floats = npt.NDArray[np.float64]
DEPENDENT = 1e-7  # share of a column that is left over by the columns before it
EXACT = 1e-12  # share of the response that is rounding
ROUNDING = 1e-16  # smallest share that a column keeps: the next round tells what is there
BOUNDARY = 1e-4  # share of the spread in the lesser direction below which it counts as none


class SlopesModel:
    """Linear mixed model with one random line per group.

    Parameters
    ----------
    endog : array (n,)
        Response.
    exog : array (n, p) or DataFrame
        Fixed effects, with a column of ones where an intercept is wanted; a frame's column names
        name the parameters.
    groups : array (n,)
        Group label of each row, in any order; sorted groups are read fastest.
    exog_slope : array (n,), optional
        Covariate of the random slope; without it only the intercept is random.
    random_intercept : bool
        Whether the intercept is random.
    correlated : bool
        Whether intercept and slope may be correlated.

    Raises
    ------
    BadFrame
        Shapes differ, a value is infinite or no number, columns of exog are linearly dependent, or
        there are too few rows or groups. Rows with a missing value are left out and counted in
        `n_dropped`.

    Examples
    --------
    >>> days = np.tile([0.0, 40.0, 80.0], 4)
    >>> shoe = np.repeat(["a", "b", "c", "d"], 3)
    >>> left_mm = [5.0, 4.3, 3.4, 5.1, 4.0, 3.1, 4.9, 4.4, 3.9, 5.0, 4.1, 3.3]
    >>> design = pd.DataFrame({"start": 1.0, "per_day": days})
    >>> SlopesModel(left_mm, design, shoe, days).fit().params.round(4).to_dict()
    {'start': 4.9958, 'per_day': -0.0197}
    """

    def __init__(
        self,
        endog: npt.ArrayLike,
        exog: npt.ArrayLike | pd.DataFrame,
        groups: npt.ArrayLike,
        exog_slope: npt.ArrayLike | None = None,
        *,
        random_intercept: bool = True,
        correlated: bool = True,
    ) -> None:
        if exog_slope is None and not random_intercept:
            raise BadFrame("exog_slope: give it, or keep random_intercept: nothing else is random")
        rows = panel(endog, exog, groups, exog_slope)
        both = rows.slope is not None and random_intercept
        self.names = rows.names
        self.labels = rows.labels
        self.n_dropped = rows.n_dropped
        self.effects = ["intercept"] * random_intercept + ["slope"] * (rows.slope is not None)
        self._free = (0,) if not both else (0, 1, 2) if correlated else (0, 2)
        movable = rows.slope is not None and len(self._free) == 3
        centre = float(rows.slope.mean()) if rows.slope is not None and movable else 0.0
        sums = sum_rows(
            rows.endog, rows.exog, rows.starts, rows.slope, centre, intercept=random_intercept
        )
        _check_size(sums, self.names, slope=rows.slope is not None)
        unit = _unit(sums, intercept=random_intercept) if rows.slope is not None else 1.0
        if random_intercept:
            sums = replace(sums, r12=sums.r12 / unit, r22=sums.r22 / unit)
            self._back = np.array([[1.0, -centre / unit], [0.0, 1.0 / unit]])
        else:
            sums = replace(sums, r11=sums.r11 / unit)
            self._back = np.diag([1.0 / unit, 0.0])
        self._whiten = np.eye(len(self.names) + 1)
        size = np.sqrt(sums.pooled()[-1, -1])
        for _ in range(2):  # the second round mends what the first lost to a large offset
            step = _orthonormal(sums, self.names)
            sums, self._whiten = sums.times(step), self._whiten @ step
        if not size * EXACT * abs(self._whiten[-1, -1]) < 1.0:
            raise FitFailed("endog: the fixed effects fit it exactly; no variance can be estimated")
        if sums.within[-1, -1] < EXACT**2 and sums.n_rows > 2 * sums.n_groups:
            raise FitFailed(
                "endog: every group lies exactly on a line, so there is no residual to estimate; "
                "fit the lines themselves"
            )
        self._sums = sums

    def fit(self, *, reml: bool = True) -> SlopesResults:
        """Estimate by restricted maximum likelihood, or by maximum likelihood.

        Raises
        ------
        FitFailed
            No start has a finite likelihood.
        """
        best = best_covariance(self._sums, self._free, reml=reml)
        deviance = Deviance(self._sums, self._free, reml=reml)
        lower = factor(best.theta, self._free)
        lower = lower * np.where(lower.diagonal() < 0, -1.0, 1.0)
        products = best.point.products
        n_fixed = len(self.names)
        beta = np.linalg.solve(products[:-1, :-1], products[:-1, -1])
        contrast = np.append(-beta, 1.0)
        original = self._whiten @ contrast
        residual = contrast / original[-1]
        scale = float(residual @ products @ residual) / deviance.df
        half = np.linalg.inv(np.linalg.cholesky(products[:-1, :-1])).T
        half = self._whiten[:n_fixed, :n_fixed] @ half
        stretch = 2.0 * np.log(np.abs(self._whiten.diagonal()))
        value = best.point.value - deviance.weight_all * stretch.sum()
        value += deviance.weight_fixed * stretch[:-1].sum()
        back = self._back @ lower
        size = len(self.effects)
        names = pd.Index(self.names)
        return SlopesResults(
            params=pd.Series(-original[:-1] / original[-1], names),
            cov_params=pd.DataFrame(scale * half @ half.T, names, names),
            cov_re=pd.DataFrame(scale * (back @ back.T)[:size, :size], self.effects, self.effects),
            scale=scale,
            llf=-0.5 * value,
            reml=reml,
            converged=best.converged,
            singular=_singular(lower, size),
            n_rows=self._sums.n_rows,
            n_groups=self._sums.n_groups,
            n_dropped=self.n_dropped,
            labels=self.labels,
            _sums=self._sums,
            _lower=lower,
            _residual=residual,
            _back=self._back,
        )


def _check_size(sums: GroupSums, names: tuple[str, ...], *, slope: bool) -> None:
    if sums.n_rows <= len(names):
        raise BadFrame(f"endog: {sums.n_rows} rows cannot tell {len(names)} fixed effects")
    if sums.n_groups < 2:
        raise BadFrame(
            "groups: one group says nothing about differences between groups; use two or more"
        )
    if sums.n_groups == sums.n_rows and not slope:
        raise BadFrame("groups: each has one row, so group and residual cannot be separated")


def _unit(sums: GroupSums, *, intercept: bool) -> float:
    """Root mean square of the slope's covariate, so that the search meets numbers near 1."""
    squares = (sums.r12**2 + sums.r22**2 if intercept else sums.r11**2).sum()
    if not squares > 0:
        raise BadFrame("exog_slope: every value is the same, so no slope can be estimated")
    return float(np.sqrt(squares / sums.n_rows))


def _orthonormal(sums: GroupSums, names: tuple[str, ...]) -> Floats:
    """Find the triangular transform that makes the columns orthonormal over all rows together."""
    pooled = sums.pooled()
    size = np.sqrt(pooled.diagonal())
    size[size == 0] = 1.0
    correlation = pooled / np.outer(size, size)
    pivots = np.zeros(len(size))
    lower = np.zeros_like(pooled)
    for j in range(len(size)):
        left = correlation[j, j] - lower[j, :j] @ lower[j, :j]
        pivots[j] = np.sqrt(max(left, ROUNDING**2))
        if j < len(names) and pivots[j] < DEPENDENT:
            raise BadFrame(f"exog.{names[j]}: a combination of the columns before it; leave it out")
        lower[j:, j] = (correlation[j:, j] - lower[j:, :j] @ lower[j, :j]) / pivots[j]
    return np.linalg.inv(lower).T / size[:, None]


def _singular(lower: Floats, size: int) -> bool:
    spread = np.linalg.svd(lower[:size, :size], compute_uv=False)
    return bool(spread[-1] <= BOUNDARY * max(1.0, spread[0]))
