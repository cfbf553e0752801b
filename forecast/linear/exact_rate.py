"""Exact one-level model (adaptive quadrature).

What are start and wear rate of one level of groups when every rate must be positive, exactly?

The model is y = a - exp(l) x + e, the wear model with one level. Per group, a ~ N(start,
sd_start^2) and l ~ N(log_rate, sd_log_rate^2). Readings have e ~ N(0, resid_sd^2). The likelihood
is not linearised. a is integrated in closed form, l by adaptive Gauss-Hermite quadrature about each
group's mode. Gradients are exact. Source: Pinheiro and Bates, Journal of Computational and
Graphical Statistics 4:12, 1995. An approximate fit of many levels is measured against it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.optimize import minimize
from scipy.special import logsumexp

from solespan.forecast.errors import BadFrame, FitFailed
from solespan.forecast.linear.panel import panel
from solespan.forecast.linear.rows import GroupSums, sum_rows
from solespan.forecast.linear.slopes import SlopesModel

__all__ = ["ExactRateModel", "ExactRateResults"]

Floats = npt.NDArray[np.float64]
POINTS = 61
MODE_STEPS = 100
LONGEST_STEP = 1.0  # of log rate, in the search for a group's mode
SMALL_SD = 1e-3  # share of the residual or of the rate at which a start treats a spread as absent
NAMES = ("start", "log_rate", "log_sd_start", "log_sd_log_rate", "log_resid_sd")
DIFFERENCE = 1e-4
SETTLED = 1e-6  # increase of the log likelihood that a Newton step still promises


@dataclass(frozen=True)
class ExactRateResults:
    """A fitted `ExactRateModel`.

    Attributes
    ----------
    params, bse : Series
        `start`, `log_rate`, `sd_start` (unless fixed at none), `sd_log_rate`, `resid_sd`, and
        standard errors from the observed information; those of an SD by the delta method.
    llf : float
        Log likelihood.
    converged : bool
        A further Newton step promises nothing and the curvature says maximum.
    log_rates : DataFrame
        Index: group labels. Columns `mean`, `sd` of each group's log rate given its data.
    n_rows, n_groups, n_dropped : int
        Rows and groups used; rows left out because a value was missing.
    """

    params: pd.Series
    bse: pd.Series
    llf: float
    converged: bool
    log_rates: pd.DataFrame
    n_rows: int
    n_groups: int
    n_dropped: int

    def summary(self) -> str:
        """Describe the fit in a short plain text."""
        table = pd.DataFrame({"estimate": self.params, "std err": self.bse})
        state = "converged" if self.converged else "NOT CONVERGED"
        return "\n".join(
            (
                f"y = a - exp(l) x per group, exact maximum likelihood: {state}",
                f"{self.n_rows} rows in {self.n_groups} groups",
                f"log likelihood {self.llf:.4f}",
                table.to_string(float_format="{:.5g}".format),
            )
        )


class ExactRateModel:
    """One level of random log rates, by exact maximum likelihood.

    Parameters
    ----------
    endog : array (n,)
        What falls as exposure grows, in any unit (for a sole: mm).
    exposure : array (n,)
        For a sole: standard wear days.
    groups : array (n,)
        Group label of each row, in any order.
    random_start : bool
        Whether the start varies between groups.

    Raises
    ------
    BadFrame
        As `forecast.linear.slopes.SlopesModel`. Rows with a missing value are left out and counted.

    Examples
    --------
    >>> days = np.tile([0.0, 40.0, 80.0], 4)
    >>> shoe = np.repeat(["a", "b", "c", "d"], 3)
    >>> left_mm = [5.0, 4.3, 3.4, 5.1, 4.0, 3.1, 4.9, 4.4, 3.9, 5.0, 4.1, 3.3]
    >>> fitted = ExactRateModel(left_mm, days, shoe, random_start=False).fit()
    >>> float(np.exp(fitted.params["log_rate"]).round(4))
    0.0193
    """

    def __init__(
        self,
        endog: npt.ArrayLike,
        exposure: npt.ArrayLike,
        groups: npt.ArrayLike,
        *,
        random_start: bool = True,
    ) -> None:
        ones = np.ones((len(np.asarray(endog)), 1))
        rows = panel(endog, ones, groups, exposure)
        if rows.slope is None or len(rows.starts) < 2:
            raise BadFrame(
                "groups: one group says nothing about differences between groups; use two or more"
            )
        self.labels = rows.labels
        self.n_dropped = rows.n_dropped
        self.random_start = random_start
        self._sums = sum_rows(rows.endog, rows.exog, rows.starts, rows.slope, 0.0, intercept=True)
        self._count = self._sums.r11**2
        design = np.column_stack([rows.exog, rows.slope])
        edges = np.append(rows.starts, len(rows.endog))
        by_row = np.repeat(np.arange(len(rows.starts)), np.diff(edges))
        self._linear = SlopesModel(rows.endog, design, by_row, rows.slope)

    def fit(self) -> ExactRateResults:
        """Maximise the likelihood from several starts and keep the best.

        Raises
        ------
        FitFailed
            The response does not fall with exposure, so no positive rate describes it.
        """
        free = [0, 1, 2, 3, 4] if self.random_start else [0, 1, 3, 4]

        def downhill(theta: Floats) -> tuple[float, Floats]:
            integral = _Integral(self._sums, self._count, self._full(theta))
            return -integral.llf, -integral.gradient[free]

        ends = [
            minimize(downhill, start[free], jac=True, method="BFGS", options={"gtol": 1e-5})
            for start in self._starts()
        ]
        theta = min(ends, key=lambda end: float(end.fun)).x
        theta, information, promise = self._polish(theta, free)
        integral = _Integral(self._sums, self._count, self._full(theta))
        certain = bool(np.linalg.eigvalsh(information)[0] > 0)
        covariance = np.linalg.pinv(information)
        names = [NAMES[j].removeprefix("log_") if j > 1 else NAMES[j] for j in free]
        natural = np.where(np.array(free) > 1, np.exp(theta), theta)
        stretch = np.where(np.array(free) > 1, natural, 1.0)
        return ExactRateResults(
            params=pd.Series(natural, names),
            bse=pd.Series(np.sqrt(covariance.diagonal().clip(0)) * stretch, names),
            llf=integral.llf,
            converged=certain and promise < SETTLED,
            log_rates=pd.DataFrame(
                {"mean": integral.mean_log_rate, "sd": integral.sd_log_rate}, index=self.labels
            ),
            n_rows=self._sums.n_rows,
            n_groups=self._sums.n_groups,
            n_dropped=self.n_dropped,
        )

    def _full(self, theta: Floats) -> Floats:
        return theta if self.random_start else np.insert(theta, 2, -np.inf)

    def _starts(self) -> Iterator[Floats]:
        """Begin at the straight lines, with the spread of rates as found, smaller and larger."""
        lines = self._linear.fit(reml=False)
        start, slope = lines.params
        if not slope < 0:
            raise FitFailed(
                f"endog: it does not fall with exposure (mean slope {slope:.3g}), so no positive "
                "rate describes it; check the signs and the exposure"
            )
        floor = max(lines.resid_sd, 1e-12)
        sd_start = max(lines.sd_re["intercept"], SMALL_SD * floor)
        sd_log_rate = max(lines.sd_re["slope"] / -slope, SMALL_SD)
        for share in (1.0, 0.2, 3.0):
            spreads = np.log([sd_start, share * sd_log_rate, floor])
            yield np.array([start, np.log(-slope), *spreads])

    def _polish(self, theta: Floats, free: list[int]) -> tuple[Floats, Floats, float]:
        """Newton steps with differenced gradients: the end, its information, what is left."""
        for _ in range(4):
            gradient = _Integral(self._sums, self._count, self._full(theta)).gradient[free]
            columns = []
            for step in DIFFERENCE * np.eye(len(theta)):
                ahead = _Integral(self._sums, self._count, self._full(theta + step))
                behind = _Integral(self._sums, self._count, self._full(theta - step))
                columns.append((behind.gradient - ahead.gradient)[free] / (2 * DIFFERENCE))
            information = (np.array(columns) + np.array(columns).T) / 2
            step = np.linalg.pinv(information) @ gradient
            promise = float(gradient @ step) / 2
            if abs(promise) < SETTLED * 1e-6 or np.abs(step).max() > 1.0:
                break
            theta = theta + step
        return theta, information, abs(promise)


class _Integral:
    """The log likelihood at one point and, through each group's quadrature, its gradient.

    Writing u = exp(l), a group's part of the exponent is quadratic in u: the deviation of its mean
    (variance v = resid^2 + n sd_start^2) and of its slope (variance resid^2) from the line.
    """

    def __init__(self, sums: GroupSums, count: Floats, theta: Floats) -> None:
        self.sums, self.count = sums, count
        self.start, self.log_rate = theta[:2]
        self.var_start, self.var_log_rate, self.variance = np.exp(2 * theta[2:])
        self.level_variance = self.variance + count * self.var_start
        self.level = sums.c1[1] - sums.r11 * self.start
        slope = sums.c2[1]
        q1 = slope * sums.r22 / self.variance + self.level * sums.r12 / self.level_variance
        q2 = sums.r22**2 / self.variance + sums.r12**2 / self.level_variance
        mode, width = self._modes(q1, q2)
        points, weights = np.polynomial.hermite.hermgauss(POINTS)
        self.log_rates = mode[:, None] + np.sqrt(2.0) * width[:, None] * points
        self.rates = np.exp(self.log_rates)
        exponent = (
            -0.5 * (slope[:, None] + self.rates * sums.r22[:, None]) ** 2 / self.variance
            - 0.5
            * (self.level[:, None] + self.rates * sums.r12[:, None]) ** 2
            / self.level_variance[:, None]
            - 0.5 * (self.log_rates - self.log_rate) ** 2 / self.var_log_rate
        )
        terms = exponent + np.log(weights) + points**2
        per_group = logsumexp(terms, axis=1)
        self.share = np.exp(terms - per_group[:, None])
        integrals = per_group + np.log(width) - 0.5 * np.log(np.pi * self.var_log_rate)
        self.llf = float(
            integrals.sum()
            - 0.5 * sums.n_rows * np.log(2 * np.pi)
            - 0.5 * (count - 1).sum() * np.log(self.variance)
            - 0.5 * np.log(self.level_variance).sum()
            - 0.5 * sums.within[1, 1] / self.variance
        )

    def _modes(self, q1: Floats, q2: Floats) -> tuple[Floats, Floats]:
        """Mode of each group's log rate and the SD that the curvature there stands for."""
        mode = np.full(len(q1), self.log_rate)
        for _ in range(MODE_STEPS):
            rate = np.exp(mode)
            slope = q1 * rate + q2 * rate**2 + (mode - self.log_rate) / self.var_log_rate
            bend = np.maximum(q1 * rate + q2 * rate**2, 0) + q2 * rate**2 + 1 / self.var_log_rate
            step = np.clip(slope / bend, -LONGEST_STEP, LONGEST_STEP)
            mode = mode - step
            if np.abs(step).max() < 1e-10:
                break
        rate = np.exp(mode)
        bend = np.maximum(q1 * rate + q2 * rate**2, 0) + q2 * rate**2 + 1 / self.var_log_rate
        return mode, 1.0 / np.sqrt(bend)

    def _mean(self, values: Floats) -> Floats:
        return np.asarray((self.share * values).sum(axis=1))

    @cached_property
    def mean_log_rate(self) -> Floats:
        """Posterior mean of each group's log rate."""
        return self._mean(self.log_rates)

    @cached_property
    def sd_log_rate(self) -> Floats:
        """Posterior SD of each group's log rate."""
        return np.sqrt(self._mean((self.log_rates - self.mean_log_rate[:, None]) ** 2))

    @cached_property
    def gradient(self) -> Floats:
        """Derivatives by `NAMES`: the posterior mean of the complete data's (Fisher's identity)."""
        sums, rate, square = self.sums, self._mean(self.rates), self._mean(self.rates**2)
        slope = sums.c2[1]
        along = (slope**2 + 2 * slope * sums.r22 * rate + sums.r22**2 * square).sum()
        level = self.level**2 + 2 * self.level * sums.r12 * rate + sums.r12**2 * square
        by_level = -0.5 / self.level_variance + 0.5 * level / self.level_variance**2
        by_variance = by_level.sum() - 0.5 * (self.count - 1).sum() / self.variance
        by_variance += 0.5 * (along + sums.within[1, 1]) / self.variance**2
        spread = self._mean((self.log_rates - self.log_rate) ** 2)
        return np.array(
            [
                (sums.r11 * (self.level + sums.r12 * rate) / self.level_variance).sum(),
                (self.mean_log_rate - self.log_rate).sum() / self.var_log_rate,
                2 * self.var_start * (self.count * by_level).sum(),
                (spread / self.var_log_rate - 1.0).sum(),
                2 * self.variance * by_variance,
            ]
        )
