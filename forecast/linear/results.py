"""Results of the linear mixed model.

What was learnt from a random line per group, and what does it say of a group or a new row?
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import ndtr, ndtri

from solespan.forecast.errors import BadFrame
from solespan.forecast.linear.likelihood import precision_of_groups
from solespan.forecast.linear.products import mix
from solespan.forecast.linear.rows import GroupSums

__all__ = ["SlopesResults"]

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class SlopesResults:
    """A fitted `forecast.linear.slopes.SlopesModel`; names follow statsmodels' MixedLMResults.

    Attributes
    ----------
    params, bse : Series
        Fixed effects and their standard errors given the variances.
    cov_params : DataFrame
        Covariance of the fixed effects, scale times the inverse of X'V^-1 X.
    cov_re : DataFrame
        Covariance of the random effects, rows and columns `intercept`, `slope`.
    scale : float
        Residual variance.
    llf : float
        Log likelihood, restricted if `reml`.
    converged : bool
        Gradient and curvature say minimum at the best end of all starts.
    singular : bool
        The best covariance lies on a boundary: a variance of 0 or a correlation of 1 or -1.
    n_rows, n_groups, n_dropped : int
        Rows and groups used; rows left out because a value was missing.
    """

    params: pd.Series
    cov_params: pd.DataFrame
    cov_re: pd.DataFrame
    scale: float
    llf: float
    reml: bool
    converged: bool
    singular: bool
    n_rows: int
    n_groups: int
    n_dropped: int
    labels: pd.Index = field(repr=False)
    _sums: GroupSums = field(repr=False, compare=False)
    _lower: Floats = field(repr=False, compare=False)
    _residual: Floats = field(repr=False, compare=False)  # columns of _sums -> response residual
    _back: Floats = field(repr=False, compare=False)  # random effects of _sums -> those of cov_re

    @property
    def bse(self) -> pd.Series:
        """Standard errors of `params`."""
        return pd.Series(np.sqrt(np.diag(self.cov_params)), self.params.index)

    @property
    def tvalues(self) -> pd.Series:
        """`params` over `bse`, to be read against the normal distribution."""
        return self.params / self.bse

    @property
    def deviance(self) -> float:
        """Minus twice the log likelihood."""
        return -2.0 * self.llf

    @property
    def resid_sd(self) -> float:
        """Residual standard deviation."""
        return float(np.sqrt(self.scale))

    @property
    def sd_re(self) -> pd.Series:
        """Standard deviations of the random effects."""
        return pd.Series(np.sqrt(np.diag(self.cov_re)), self.cov_re.index)

    @property
    def corr_re(self) -> float:
        """Correlation of intercept and slope; NaN where either does not vary or is not there."""
        sd = self.sd_re.to_numpy()
        if len(sd) == 1 or not sd.all():
            return float("nan")
        return float(np.clip(self.cov_re.iloc[0, 1] / (sd[0] * sd[1]), -1.0, 1.0))

    def conf_int(self, alpha: float = 0.05) -> pd.DataFrame:
        """Give normal intervals of the fixed effects, columns `lower` and `upper`."""
        reach = ndtri(1.0 - alpha / 2.0) * self.bse
        return pd.DataFrame({"lower": self.params - reach, "upper": self.params + reach})

    @cached_property
    def random_effects(self) -> pd.DataFrame:
        """Best linear unbiased predictions of each group's random effects.

        Returns
        -------
        DataFrame
            Index: group labels. Columns `intercept`, `slope` (those that the model has) and
            `var_intercept`, `var_slope`, `cov_intercept_slope`: their variance given the data and
            the parameters, without the uncertainty of the fixed effects.
        """
        sums, lower = self._sums, self._lower
        n11, n12, n21, n22 = precision_of_groups(sums, lower)
        e1, e2 = (mix(self._residual[None, :], c)[0] for c in (sums.c1, sums.c2))
        shrink = self._back @ lower @ lower.T
        found = mix(shrink, np.stack((n11 * e1 + n12 * e2, n21 * e1 + n22 * e2)))
        (a, b), (c, d) = shrink
        learnt = mix(  # shrink K shrink' for K = N R, entries (1,1), (1,2), (2,2)
            np.array(
                [
                    [a * a, 2 * a * b, b * b],
                    [a * c, a * d + b * c, b * d],
                    [c * c, 2 * c * d, d * d],
                ]
            ),
            np.stack((n11 * sums.r11, n21 * sums.r11, n21 * sums.r12 + n22 * sums.r22)),
        )
        prior = shrink @ self._back.T
        spread = self.scale * (prior[[0, 0, 1], [0, 1, 1], None] - learnt)
        names = list(self.cov_re.index)
        columns = {name: found[j] for j, name in enumerate(names)}
        columns |= {f"var_{name}": spread[2 * j] for j, name in enumerate(names)}
        if len(names) > 1:
            columns["cov_intercept_slope"] = spread[1]
        return pd.DataFrame(columns, index=self.labels)

    def predict(
        self,
        exog: npt.ArrayLike,
        groups: npt.ArrayLike | None = None,
        exog_slope: npt.ArrayLike | None = None,
    ) -> Floats:
        """Expect the response of new rows.

        Parameters
        ----------
        exog : array (n, p)
            Fixed effects in the order of `params`.
        groups : array (n,), optional
            Group of each row: its predicted line is added; an unknown label adds nothing.
        exog_slope : array (n,), optional
            Covariate of the random slope, needed with `groups` where the model has one.

        Returns
        -------
        array (n,)

        Raises
        ------
        BadFrame
            The number of columns differs from the fit, or the slope's covariate is missing.
        """
        design = np.asarray(exog, dtype=np.float64)
        if design.ndim != 2 or design.shape[1] != len(self.params):
            raise BadFrame(
                f"exog: shape {design.shape}, where {len(self.params)} columns are needed"
            )
        fixed: Floats = design @ self.params.to_numpy()
        if groups is None:
            return fixed
        lines = self.random_effects.reindex(pd.Index(np.asarray(groups))).fillna(0.0)
        if "intercept" in lines:
            fixed = fixed + lines["intercept"].to_numpy()
        if "slope" in lines:
            if exog_slope is None:
                raise BadFrame("exog_slope: needed with groups, for the model has a random slope")
            fixed = fixed + lines["slope"].to_numpy() * np.asarray(exog_slope, dtype=np.float64)
        return fixed

    def summary(self) -> str:
        """Describe the fit in a short plain text."""
        interval = self.conf_int()
        table = pd.DataFrame(
            {
                "coef": self.params,
                "std err": self.bse,
                "z": self.tvalues,
                "P>|z|": 2.0 * ndtr(-np.abs(self.tvalues)),
                "[0.025": interval["lower"],
                "0.975]": interval["upper"],
            }
        )
        spread = ", ".join(f"{name} {sd:.6g}" for name, sd in self.sd_re.items())
        if len(self.sd_re) > 1:
            spread += f", correlation {self.corr_re:.4f}"
        state = "converged" if self.converged else "NOT CONVERGED"
        state += ", on a boundary" if self.singular else ""
        dropped = f", {self.n_dropped} rows with a missing value left out" if self.n_dropped else ""
        return "\n".join(
            (
                f"Random line per group, {'REML' if self.reml else 'maximum likelihood'}: {state}",
                f"{self.n_rows} rows in {self.n_groups} groups{dropped}",
                f"log likelihood {self.llf:.4f}",
                table.to_string(float_format="{:.5g}".format),
                f"SD of the random effects: {spread}; residual {self.resid_sd:.6g}",
            )
        )
