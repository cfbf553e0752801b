"""Residual diagnostics: are residuals normal, independent, and does one check decide a rate?

All three come from statsmodels: a probability plot, the autocorrelation function, and the influence
measures of ordinary least squares. Influence is that of each reading on the straight line through
the readings of its shoe and point. Cook's distance above 1 counts (Cook and Weisberg, Residuals and
Influence in Regression, 1982, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from solespan.forecast.explaining.fitted_checks import CHECK_KEY

__all__ = ["ResidualChecks", "residual_checks"]

_MOST_POINTS = 200
_LEAST_READINGS = 5
_MOST_LINES = 300  # shoes and points whose line is looked at, those with the oddest reading first
_COOK, _LEAST_CHANGE_PERCENT, _LEAST_ODD = 1.0, 10.0, 1.0
_PATH = ["sole_id", "foot", "point"]
_COLUMNS = [*CHECK_KEY, "value_mm", "cooks_distance", "rate_change_percent"]


@dataclass(frozen=True)
class ResidualChecks:
    """Normality, independence and influence of the checks.

    qq : DataFrame
        `normal`, `residual`: quantiles of the standard normal and of the standardised residuals.
    autocorrelation : float
        Of a residual with the one before on the same shoe and point; NaN with too few.
    followers : int
        Residuals that have one before.
    influence : DataFrame
        Readings that decide the line of their shoe and lie off the fit: the key of the check,
        value_mm, cooks_distance, rate_change_percent (of the line's rate, without the reading).
    """

    qq: pd.DataFrame
    autocorrelation: float
    followers: int
    influence: pd.DataFrame

    @property
    def dependent(self) -> bool:
        """Whether residuals follow each other more than chance explains, and enough to matter."""
        usual = 2.0 / np.sqrt(max(self.followers, 1))
        return bool(self.followers >= 50 and self.autocorrelation > max(usual, 0.2))


def residual_checks(checks: pd.DataFrame) -> ResidualChecks:
    """Look at the standardised residuals of `fitted_checks`; likely misreadings are left out.

    Thumb grades are left out too: they say a range, so their residuals are not normal.
    """
    used = checks[~checks["slip"]].sort_values([*_PATH, "checked_on"], kind="stable")
    read = used[used["value_mm"].notna()]
    correlation, followers = _autocorrelation(read)
    return ResidualChecks(_qq(read), correlation, followers, _influence(read))


def _qq(used: pd.DataFrame) -> pd.DataFrame:
    from statsmodels.graphics.gofplots import ProbPlot  # noqa: PLC0415

    if used.empty:
        return pd.DataFrame({"normal": [], "residual": []}, dtype=float)
    plot = ProbPlot(used["std_resid"].to_numpy(float))
    n = len(used)
    at = np.unique(np.linspace(0, n - 1, min(n, _MOST_POINTS)).round().astype(int))
    normal, residual = plot.theoretical_quantiles[at], plot.sample_quantiles[at]
    return pd.DataFrame({"normal": normal, "residual": residual})


def _autocorrelation(used: pd.DataFrame) -> tuple[float, int]:
    from statsmodels.tsa.stattools import acf  # noqa: PLC0415

    z = used["std_resid"].to_numpy(float)
    begins = ~used.duplicated(_PATH).to_numpy()
    followers = int((~begins).sum())
    if followers < 2 or np.ptp(z) < 1e-12:
        return np.nan, followers
    parted = np.insert(z, np.flatnonzero(begins), np.nan)  # a gap before each shoe and point
    return float(acf(parted, nlags=1, missing="conservative")[1]), followers


def _influence(used: pd.DataFrame) -> pd.DataFrame:
    from statsmodels.regression.linear_model import OLS  # noqa: PLC0415
    from statsmodels.stats.outliers_influence import OLSInfluence  # noqa: PLC0415

    read = used.assign(odd=used["std_resid"].abs())
    lines = read.groupby(_PATH, sort=False)
    many = lines["worn_days"].nunique() >= _LEAST_READINGS
    oddest = lines["odd"].max()[many].nlargest(_MOST_LINES)
    found = []
    for path in oddest.index:
        part = lines.get_group(path)
        x = np.column_stack([np.ones(len(part)), part["worn_days"].to_numpy(float)])
        fit = OLS(part["value_mm"].to_numpy(float), x).fit()
        if fit.ssr < 1e-9 or abs(fit.params[1]) < 1e-9:
            continue  # a line without error has no influence
        measures = OLSInfluence(fit)
        distance = measures.cooks_distance[0]
        change = -100.0 * measures.dfbeta[:, 1] / fit.params[1]
        rows = part.assign(cooks_distance=distance, rate_change_percent=change)
        decides = (rows["cooks_distance"] > _COOK) & (np.abs(change) >= _LEAST_CHANGE_PERCENT)
        found.append(rows[decides & (rows["odd"] >= _LEAST_ODD)])
    if not found:
        return pd.DataFrame(columns=_COLUMNS)
    every = pd.concat(found).sort_values("cooks_distance", ascending=False, kind="stable")
    return pd.DataFrame(every[_COLUMNS].reset_index(drop=True))
