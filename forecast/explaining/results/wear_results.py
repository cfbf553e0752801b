"""Results of a fit: what was learnt, with the log that it was learnt from?

A `WearFit` is what can be stored. A `WearResults` is the same with its log, so it can forecast,
explain, list residuals and draw. The log is never stored or pickled with it: a log of many racks is
thousands of times as large. `with_log` gives it back.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields, replace
from functools import cached_property
from typing import Any, overload

import numpy as np
import pandas as pd
from scipy.special import ndtri

from solespan.forecast.dates.due import forecast
from solespan.forecast.errors import TooLittleData
from solespan.forecast.explaining.diagnostics import Diagnostics, diagnose
from solespan.forecast.explaining.explain import Explanation, explain
from solespan.forecast.explaining.fitted_checks import CHECK_KEY, fitted_checks
from solespan.forecast.explaining.paths import wear_path
from solespan.forecast.explaining.results.plots import drawing
from solespan.forecast.explaining.results.random_effects import random_effects
from solespan.forecast.log import WearLog
from solespan.forecast.model.wear_fit import WearFit
from solespan.forecast.model.wear_model import Conditioned, condition
from solespan.forecast.priors import PACKING_DAYS
from solespan.forecast.settings import ForecastSettings
from solespan.forecast.values import instance_of, number_of

__all__ = ["WearResults"]

_OF_SHOE = ("shoe", "sole", "pair", "wearer")


@dataclass(frozen=True, eq=False, repr=False)
class WearResults(WearFit):
    """A fit with its log: the result of `WearModel.fit`.

    Beside everything of `WearFit` it has the names that statsmodels uses: `params`, `bse`,
    `conf_int`, `cov_params`, `resid`, `fittedvalues`, `llf`, `aic`, `bic`, `nobs`,
    `random_effects`, `predict` and `summary`.

    log : WearLog or None
        The log of the fit. It is None after `from_dict` and after a pickle; see `with_log`.

    Examples
    --------
    >>> from solespan.forecast import WearModel, wear_log
    >>> from solespan.synthetic_data.scenarios import world
    >>> made = world("score_world", seed=1, n_pairs=2)
    >>> fit = WearModel(wear_log(**made.frames), made.as_of).fit()
    >>> fit
    <WearResults as of 2026-11-23: 1 wearer, 2 pairs, converged>
    >>> sorted(fit.forecast()["pair_id"].unique())
    ['P0001', 'P0002']
    >>> list(fit.random_effects)
    ['wearer', 'pair', 'sole', 'foot']
    >>> bool(fit.resid.abs().median() < 0.3)
    True
    """

    log: WearLog | None = field(default=None)

    @classmethod
    def of(cls, fit: WearFit, log: WearLog) -> WearResults:
        """Join a fit and its log."""
        held = {f.name: getattr(fit, f.name) for f in fields(WearFit)}
        return cls(**held, log=log)

    def with_log(self, log: WearLog) -> WearResults:
        """The same fit with a log: its own after a pickle, or a later one of the same racks."""
        return replace(self, log=instance_of("log", log, WearLog, "a WearLog from wear_log"))

    def __getstate__(self) -> dict[str, Any]:
        """Keep the fit and leave the log out."""
        return {f.name: getattr(self, f.name) for f in fields(self)} | {"log": None}

    def __repr__(self) -> str:
        """One line."""
        people = f"{self.n_wearers} wearer{'' if self.n_wearers == 1 else 's'}"
        pairs = f"{self.n_pairs} pair{'' if self.n_pairs == 1 else 's'}"
        how = "converged" if self.converged else "not converged"
        return f"<WearResults as of {self.as_of}: {people}, {pairs}, {how}>"

    def _repr_html_(self) -> str:
        """Give a table for a notebook."""
        head = repr(self).strip("<>")
        table = self.summary_frame().to_html(float_format="{:.4f}".format, na_rep="", border=0)
        return f"<p>{head}; log likelihood {self.llf:.2f}</p>{table}"

    @property
    def resid(self) -> pd.Series:
        """Reading less fitted thickness, mm, by check; NaN of a thumb."""
        return self._checks["resid_mm"].rename("resid")

    @property
    def fittedvalues(self) -> pd.Series:
        """Fitted thickness, mm, by check: pair_id, checked_on, foot, point, method."""
        return self._checks["fitted_mm"].rename("fittedvalues")

    @property
    def random_effects(self) -> dict[str, pd.DataFrame]:
        """Posterior mean and SD on the log rate, by `wearer`, `pair`, `sole` and `foot`."""
        return random_effects(self._known)

    def forecast(
        self, as_of: str | pd.Timestamp | None = None, settings: ForecastSettings | None = None
    ) -> pd.DataFrame:
        """Forecast every pair of the log; see `solespan.forecast.forecast`."""
        return forecast(self, self._own_log, as_of or self.as_of, settings)

    def explain(self, pair_id: str) -> Explanation:
        """Explain one pair's date; see `solespan.forecast.explain`."""
        return explain(self, self._own_log, pair_id, self.as_of)

    def diagnose(self) -> Diagnostics:
        """Hold the fit against its checks; see `solespan.forecast.diagnose`."""
        return diagnose(self, self._own_log, self.as_of)

    @overload
    def predict(self, material: str, standard_wear_days: Any) -> np.ndarray: ...
    @overload
    def predict(
        self, material: str, standard_wear_days: Any, *, interval: float
    ) -> pd.DataFrame: ...
    def predict(
        self, material: str, standard_wear_days: Any, *, interval: float | None = None
    ) -> np.ndarray | pd.DataFrame:
        """Loss of thickness at the ball of a new sole, mm; see `WearFit.predict`.

        Parameters
        ----------
        material : str
        standard_wear_days : array_like
        interval : float, optional
            Chance that the loss of one shoe of a wearer not in the log lies in the interval.

        Returns
        -------
        ndarray, or DataFrame with columns `standard_wear_days`, `loss_mm`, `lower_mm`, `upper_mm`
        """
        loss = super().predict(material, standard_wear_days)
        if interval is None:
            return loss
        share = number_of("interval", interval, 0.0, 1.0)
        x = np.asarray(standard_wear_days, float)
        packed = self.value("packing_mm") * np.minimum(x / PACKING_DAYS, 1.0)
        _, sd = self.effect({"level": 1.0, f"material_{material}": 1.0})
        spread = np.hypot(sd, np.linalg.norm([self.spread[name] for name in _OF_SHOE]))
        factor = np.exp(ndtri(0.5 + 0.5 * share) * spread)
        worn = loss - packed
        return pd.DataFrame(
            {
                "standard_wear_days": np.atleast_1d(x),
                "loss_mm": np.atleast_1d(loss),
                "lower_mm": np.atleast_1d(packed + worn / factor),
                "upper_mm": np.atleast_1d(packed + worn * factor),
            }
        )

    def plot_due(self) -> Any:
        """Draw when each pair is due, as a figure of plotly; import `solespan.dashboards.plots`."""
        draw = drawing("due")
        return draw(self.forecast(), self._own_log.pairs, today=pd.Timestamp(self.as_of))

    def plot_path(self, pair_id: str) -> Any:
        """Draw one pair's thickness by day, as a figure of plotly."""
        draw, log = drawing("path"), self._own_log
        path = wear_path(self, log, pair_id, self.as_of)
        due = self.forecast()
        checks = log.until(self.as_of).checks
        mine = (frame[frame["pair_id"] == pair_id] for frame in (checks, due))
        return draw(path, *mine, today=pd.Timestamp(self.as_of))

    def plot_diagnostics(self) -> Any:
        """Draw standardised residuals against the normal, as a figure of plotly."""
        return drawing("diagnostics")(self.diagnose().checks.qq, today=pd.Timestamp(self.as_of))

    @property
    def _own_log(self) -> WearLog:
        if self.log is None:
            raise TooLittleData(
                "log: this fit carries no log, as it was stored; give it by fit.with_log(log)"
            )
        return self.log

    @cached_property
    def _known(self) -> Conditioned:
        return condition(self, self._own_log, self.as_of, ForecastSettings().sound_days)

    @cached_property
    def _checks(self) -> pd.DataFrame:
        return fitted_checks(self._known, self._own_log.until(self.as_of)).set_index(CHECK_KEY)
