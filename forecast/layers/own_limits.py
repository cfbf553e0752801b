"""Own limits of soles: which sole's limit at the ball differs from the default of its material?

Workload, notices and looks back take the limits of the forecast from here. Lugs that were read have
the limit of their base. Leather over a midsole has an earlier one.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from solespan.forecast.layers.limits import MIDSOLE_LIMIT_MM, ball_limits_mm, lug_limit_mm
from solespan.forecast.layers.thickness import LEATHERS, are_guards

__all__ = ["with_own_limits"]


def with_own_limits(
    soles: pd.DataFrame, layers: pd.DataFrame, checks: pd.DataFrame
) -> pd.DataFrame:
    """Fill `limit_mm` of soles that nobody gave one, where layers or lug readings say more.

    Parameters
    ----------
    soles : DataFrame
        Columns `pair_id`, `fitted_on`, `material`, `nominal_thickness_mm`, `limit_mm`, `cover`;
        `removed_on` may be missing.
    layers, checks : DataFrame
        Rows of `frames.LAYER_ROWS` and `frames.CHECKS`; those without a midsole or lugs do not
        matter.

    Returns
    -------
    DataFrame
        The same rows; a sole with nothing of its own keeps an empty limit.
    """
    midsoles = layers[layers["layer"] == "midsole"] if len(layers) else layers
    lugs = checks[checks["lug_mm"].notna() & checks["point"].isin(["ball", "toe"])]
    if midsoles.empty and lugs.empty:
        return soles
    frame = soles.reset_index(drop=True)
    limit = frame["limit_mm"].to_numpy(float)
    for found in (_of_lugs(frame, lugs), _over_midsole(frame, midsoles)):
        limit = np.where(np.isnan(limit), found, limit)
    return soles.assign(limit_mm=limit)


def _of_lugs(soles: pd.DataFrame, lugs: pd.DataFrame) -> np.ndarray:
    """Limit of each lug unit whose lugs were read; NaN elsewhere."""
    out = np.full(len(soles), np.nan)
    units = soles[soles["material"] == "lug_rubber"]
    if units.empty or lugs.empty:
        return out
    line = soles.assign(place=np.arange(len(soles))).sort_values("fitted_on", kind="stable")
    seen = pd.merge_asof(
        lugs.sort_values("checked_on", kind="stable"),
        line[["pair_id", "fitted_on", "place"]],
        left_on="checked_on",
        right_on="fitted_on",
        by="pair_id",
    ).dropna(subset=["place"])
    base = (seen["value_mm"] - seen["lug_mm"]).groupby(seen["place"].astype(int)).mean()
    base = base[base.index.isin(units.index)]
    new = soles["nominal_thickness_mm"].to_numpy(float)[base.index]
    out[base.index] = lug_limit_mm(base.to_numpy(float), new)
    return out


def _over_midsole(soles: pd.DataFrame, midsoles: pd.DataFrame) -> np.ndarray:
    """Limit of each leather sole that lay over a logged midsole; NaN elsewhere."""
    out = np.full(len(soles), np.nan)
    if midsoles.empty:
        return out
    removed = soles["removed_on"] if "removed_on" in soles else pd.Series(pd.NaT, soles.index)
    both = soles.assign(place=np.arange(len(soles)), off=removed).merge(
        midsoles[["pair_id", "fitted_on", "removed_on"]], on="pair_id", suffixes=("", "_midsole")
    )
    came = "removed_on_midsole" if "removed_on" in soles else "removed_on"
    late, gone = both["fitted_on_midsole"] > both["off"], both[came] <= both["fitted_on"]
    place = both.loc[~late & ~gone, "place"].unique()
    guard = are_guards(
        soles["material"].to_numpy(object),
        soles["nominal_thickness_mm"].to_numpy(float),
        list(soles["cover"]),
    )
    leather = soles["material"].isin(LEATHERS).to_numpy(bool) & ~guard
    place = place[leather[place]]
    out[place] = np.minimum(ball_limits_mm(soles)[place], MIDSOLE_LIMIT_MM)
    return out
