"""Diagnostics of a fit.

Can the fit be trusted: do readings agree with it, what was ignored, and is wear a line?
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from solespan.forecast.dates.reasons import basis, counts_by_path
from solespan.forecast.explaining.curvature import Curvature, curvature
from solespan.forecast.explaining.fitted_checks import fitted_checks, residuals_by_method
from solespan.forecast.explaining.residual_checks import ResidualChecks, residual_checks
from solespan.forecast.frames import FEET, POINTS, WEARING_POINTS
from solespan.forecast.log import WearLog
from solespan.forecast.model.wear_fit import WearFit
from solespan.forecast.model.wear_model import Conditioned, condition
from solespan.forecast.observation.thumb import ThumbScale
from solespan.forecast.panel.panel import GAUGES
from solespan.forecast.settings import ForecastSettings
from solespan.forecast.values import day_of, instance_of

__all__ = ["Diagnostics", "diagnose"]

_FEW = 2
_MOST_LISTED = 8
_LEANS_ON = (
    "",
    "the pair's earlier soles",
    "the wearer's other pairs and the population",
    "the population",
)
_USUAL_BEYOND_2, _USUAL_BEYOND_3 = 0.0455, 0.0027  # of a normal
_TOO_MANY = 2.0  # times the usual share beyond 2, with enough readings to tell
_ENOUGH = 50


@dataclass(frozen=True)
class Diagnostics:
    """What a fit's owner should know before believing it.

    residuals : DataFrame
        method, readings, mean, sd, share_beyond_2, share_beyond_3: standardised residuals by
        method. Likely misreadings are left out. A thumb's residual is at the middle of the chance
        of what was felt.
    slips : DataFrame
        pair_id, checked_on, foot, point, method, value_mm, fitted_mm: readings set aside.
    leaning : DataFrame
        pair_id, leans_on: pairs with fewer than two checks of the sole on them now.
    curvature : Curvature
        Whether wear is a straight line in exposure.
    thumb : ThumbScale
    converged : bool
    rounds : int
    checks : ResidualChecks
        Whether residuals are normal and independent, and which checks decide a rate.

    Examples
    --------
    >>> from solespan.forecast import WearModel, diagnose, wear_log
    >>> from solespan.synthetic_data.scenarios import world
    >>> made = world("score_world", seed=1, n_pairs=2)
    >>> log = wear_log(**made.frames)
    >>> fit = WearModel(log, as_of="2026-11-23").fit()
    >>> print(diagnose(fit, log, as_of="2026-11-23").summary().splitlines()[0])
    Can this fit be trusted?
    """

    residuals: pd.DataFrame
    slips: pd.DataFrame
    leaning: pd.DataFrame
    curvature: Curvature
    thumb: ThumbScale
    converged: bool
    rounds: int
    checks: ResidualChecks

    @property
    def warnings(self) -> list[str]:
        """What should keep an owner from believing the dates as they stand."""
        out = []
        if not self.converged:
            out.append(
                f"The fit stopped after {self.rounds} rounds before it settled; fit again, and "
                "look for readings in the wrong unit if it stays so."
            )
        if self.curvature.flagged:
            way = "slows down" if self.curvature.power < 1.0 else "speeds up"
            out.append(
                f"Wear {way} as soles are worn (it goes with the power "
                f"{self.curvature.power:.2f} of wear, and the model takes 1): dates will be off."
            )
        if self.checks.dependent:
            out.append(
                "A check that lies above the fit is followed by another one above it "
                f"(correlation {self.checks.autocorrelation:.2f}): rates change, or checks are not "
                "independent."
            )
        many = self.residuals[
            (self.residuals["readings"] >= _ENOUGH)
            & (self.residuals["share_beyond_2"] > _TOO_MANY * _USUAL_BEYOND_2)
        ]
        out += [
            f"{100 * row['share_beyond_2']:.0f} % of the {_plain(row['method'])} checks lie "
            "further from the fit than two standard errors, where 5 % should."
            for row in _records(many)
        ]
        return out

    def summary(self) -> str:
        """Text that an owner can read."""
        lines = ["Can this fit be trusted?", *(f"! {text}" for text in self.warnings)]
        if not self.warnings:
            lines.append("It converged, and nothing looks odd.")
        lines += [
            "",
            f"{'checks against the fit':<24}{'checks':>8}{'beyond 2 SE':>13}{'beyond 3':>10}",
        ]
        lines += [
            f"{_plain(row['method']):<24}{row['readings']:>8}{100 * row['share_beyond_2']:>11.1f} %"
            f"{100 * row['share_beyond_3']:>8.1f} %"
            for row in _records(self.residuals)
        ]
        usual = f"{100 * _USUAL_BEYOND_2:>11.1f} %{100 * _USUAL_BEYOND_3:>8.1f} %"
        lines += [f"{'(usual)':<24}{'':>8}{usual}", "", self._thumb(), self._line()]
        lines += ["", *self._set_aside(), *self._influence(), *self._leaning()]
        return "\n".join(lines)

    def _thumb(self) -> str:
        scale = self.thumb
        whence = (
            f"learnt from {scale.learnt_from} checks that have both"
            if scale.learnt_from
            else "common practice: too few checks have both thumb and gauge to learn it"
        )
        return (
            f"Thumb: firm from {scale.firm_from_mm:.1f} mm, give from {scale.give_from_mm:.1f} mm "
            f"at a limit of 2 mm\n  ({whence})."
        )

    def _line(self) -> str:
        bend = self.curvature
        if not np.isfinite(bend.power):
            return "Too few soles have enough readings to tell whether wear is a straight line."
        return (
            f"Wear goes with the power {bend.power:.2f} +/- {bend.standard_error:.2f} of the wear "
            f"days ({bend.paths} shoes).\n  The model takes 1, a straight line."
        )

    def _set_aside(self) -> list[str]:
        if self.slips.empty:
            return ["No reading was ignored as a likely misreading."]
        lines = [f"{len(self.slips)} readings were ignored as likely misreadings; look at them:"]
        lines += [
            f"  {row['pair_id']}, {row['checked_on']:%Y-%m-%d}, {row['foot']} {row['point']}, "
            f"{_plain(row['method'])}: {row['value_mm']:.2f} mm "
            f"where {row['fitted_mm']:.2f} mm fits"
            for row in _records(self.slips.head(_MOST_LISTED))
        ]
        return lines + _and_more(len(self.slips))

    def _influence(self) -> list[str]:
        found = self.checks.influence
        lines = [
            f"  {row['pair_id']}, {row['checked_on']:%Y-%m-%d}, {row['foot']} {row['point']}: "
            f"without it the line wears {abs(row['rate_change_percent']):.0f} % "
            f"{'faster' if row['rate_change_percent'] > 0 else 'slower'}"
            for row in _records(found.head(_MOST_LISTED))
        ]
        if not lines:
            return []
        head = f"{len(found)} checks decide the line of their shoe; look at them:"
        return [head, *lines, *_and_more(len(found))]

    def _leaning(self) -> list[str]:
        if self.leaning.empty:
            return ["Every pair has at least two checks of its sole."]
        lines = [f"{len(self.leaning)} pairs have fewer than two checks of their sole:"]
        lines += [
            f"  {row['pair_id']} is based mostly on {row['leans_on']}"
            for row in _records(self.leaning.head(_MOST_LISTED))
        ]
        return lines + _and_more(len(self.leaning))


def diagnose(fit: WearFit, log: WearLog, as_of: str | pd.Timestamp) -> Diagnostics:
    """Hold a fit against the checks it was made from.

    Parameters
    ----------
    fit : WearFit
    log : WearLog
        The log that was fitted; rows later than `as_of` are not used.
    as_of : date-like

    Raises
    ------
    TooLittleData
        No sole was fitted by `as_of`.

    Examples
    --------
    >>> from solespan.forecast import WearModel, diagnose, wear_log
    >>> from solespan.synthetic_data.scenarios import world
    >>> made = world("score_world", seed=1, n_pairs=2)
    >>> log = wear_log(**made.frames)
    >>> fit = WearModel(log, as_of="2026-11-23").fit()
    >>> found = diagnose(fit, log, as_of="2026-11-23")
    >>> found.converged, found.warnings
    (True, [])
    """
    day = day_of("as_of", as_of)
    instance_of("fit", fit, WearFit, "a fit from WearModel(log, as_of).fit()")
    instance_of("log", log, WearLog, "a WearLog from wear_log")
    known, until = condition(fit, log, day, ForecastSettings().sound_days), log.until(day)
    checks = fitted_checks(known, until)
    return Diagnostics(
        residuals=residuals_by_method(checks),
        slips=_slips(known, until),
        leaning=_leaning(known),
        curvature=curvature(known),
        thumb=fit.noise.thumb,
        converged=fit.converged,
        rounds=fit.rounds,
        checks=residual_checks(checks),
    )


def _slips(known: Conditioned, log: WearLog) -> pd.DataFrame:
    panel = known.panel
    slip = (panel.obs_kind < len(GAUGES)) & known.slip
    at = np.flatnonzero(slip)
    path = panel.obs_path[at]
    points = np.array(WEARING_POINTS, dtype=object)[panel.path_point[path]]
    frame = pd.DataFrame(
        {
            "pair_id": panel.pair_ids[panel.path_pair[path]],
            "checked_on": panel.target_day[panel.obs_target[at]]
            .astype("datetime64[D]")
            .astype("datetime64[s]"),
            "foot": np.array(FEET, dtype=object)[panel.path_foot[path]],
            "point": np.where(panel.obs_waist[at], POINTS[-1], points),
            "method": log.checks["method"].to_numpy(object)[panel.obs_check[at]],
            "value_mm": panel.obs_mm[at],
            "fitted_mm": known.fitted_mm[at],
        }
    )
    key = ["pair_id", "checked_on", "foot", "point", "method"]
    return frame.drop_duplicates(key).sort_values(key).reset_index(drop=True)


def _leaning(known: Conditioned) -> pd.DataFrame:
    panel = known.panel
    seen = counts_by_path(known)
    checks = (seen["readings"] + seen["thumbs"]).to_numpy()
    ball = panel.current & (panel.path_point == 0)
    total = np.bincount(panel.path_pair[ball], checks[ball], len(panel.pair_ids))
    leans_on = np.array(_LEANS_ON)[basis(panel)]
    few = panel.has_sole & (total < _FEW)
    return pd.DataFrame({"pair_id": panel.pair_ids[few], "leans_on": leans_on[few]})


def _records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    return frame.to_dict("records")  # type: ignore[return-value]


def _plain(method: object) -> str:
    return str(method).replace("_", " ")


def _and_more(count: int) -> list[str]:
    return [f"  and {count - _MOST_LISTED} more"] if count > _MOST_LISTED else []
