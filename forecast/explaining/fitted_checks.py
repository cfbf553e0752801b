"""Fitted checks: what does the model say of every check, and how far off is the check?

A standardised residual divides by the error of one check and the process noise. A thumb's residual
is at the middle of the chance of what was felt.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.special import ndtr, ndtri

from solespan.forecast.frames import CHECKS, FEET, METHODS, POINTS
from solespan.forecast.log import WearLog
from solespan.forecast.model.wear_model import Conditioned
from solespan.forecast.observation.thumb import ThumbScale
from solespan.forecast.panel.panel import HOLE, THUMB

__all__ = ["CHECK_KEY", "fitted_checks"]

CHECK_KEY = list(CHECKS.key)


def fitted_checks(known: Conditioned, log: WearLog) -> pd.DataFrame:
    """List every check that the fit used, but those of the waist and holes.

    Parameters
    ----------
    known : Conditioned
        Posterior of the log.
    log : WearLog
        The log that the posterior is of, until its day.

    Returns
    -------
    DataFrame
        pair_id, checked_on, foot, point, method, sole_id, worn_days (standard wear days on the
        sole), value_mm (NaN of a thumb), fitted_mm, resid_mm, std_resid, slip (ignored as a likely
        misreading); in the order of soles and days.
    """
    panel = known.panel
    at = np.flatnonzero(~panel.obs_waist & (panel.obs_kind < HOLE))
    path, target, kind = panel.obs_path[at], panel.obs_target[at], panel.obs_kind[at]
    fitted = known.fitted_mm[at]
    lost = np.maximum(panel.nominal_mm[path] - fitted, 0.0)
    noise = known.fit.noise
    gauge = kind < THUMB
    sd = np.append(noise.gauge_sd_mm, np.nan)[np.where(gauge, kind, -1)]
    z = known.residual_mm[at] / np.sqrt(sd**2 + noise.process_mm * lost)
    felt = ~gauge
    z[felt] = _thumb_residual(panel.obs_grade[at[felt]], fitted[felt], noise.thumb)
    rows = log.checks.iloc[panel.obs_check[at]]
    day = panel.target_day[target].astype("datetime64[D]").astype("datetime64[s]")
    return pd.DataFrame(
        {
            "pair_id": panel.pair_ids[panel.path_pair[path]],
            "checked_on": day,
            "foot": np.array(FEET, dtype=object)[panel.path_foot[path]],
            "point": np.array(POINTS, dtype=object)[panel.path_point[path]],
            "method": rows["method"].to_numpy(object),
            "sole_id": panel.sole_ids[panel.path_sole[path]],
            "worn_days": known.worn[target],
            "value_mm": np.where(gauge, panel.obs_mm[at], np.nan),
            "fitted_mm": fitted,
            "resid_mm": np.where(gauge, known.residual_mm[at], np.nan),
            "std_resid": z,
            "slip": gauge & known.slip[at],
        }
    )


def residuals_by_method(checks: pd.DataFrame) -> pd.DataFrame:
    """Standardised residuals of `fitted_checks`, one row a method that was used."""
    used = checks[~checks["slip"]]
    rows = []
    for method in METHODS:
        z = used.loc[used["method"] == method, "std_resid"].to_numpy(float)
        if len(z):
            size = np.abs(z)
            beyond = float((size > 2.0).mean()), float((size > 3.0).mean())
            rows.append((method, len(z), float(z.mean()), float(z.std()), *beyond))
    columns = ["method", "readings", "mean", "sd", "share_beyond_2", "share_beyond_3"]
    return pd.DataFrame(rows, columns=columns)


def _thumb_residual(grade: np.ndarray, felt_mm: np.ndarray, scale: ThumbScale) -> np.ndarray:
    """Give the normal quantile of the middle of the chance range of what the thumb felt."""
    soft = ndtr((scale.give_from_mm - felt_mm) / scale.sd_mm)
    not_firm = ndtr((scale.firm_from_mm - felt_mm) / scale.sd_mm)
    low = np.select([grade == 2, grade == 1], [0.0, soft], not_firm)
    high = np.select([grade == 2, grade == 1], [soft, not_firm], 1.0)
    return np.asarray(ndtri(np.clip(1.0 - (low + high) / 2.0, 1e-9, 1.0 - 1e-9)))
