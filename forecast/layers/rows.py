"""Rows of layers: what do the logged layers of pairs say to forecast, quote, routes and life?

A row without a day of fitting was there from the first. What nobody logged has the defaults.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np
import pandas as pd

__all__ = ["carrier_word", "layer_faults", "layers_on", "rewelt_days", "top_piece_mm"]

# Layers that an outseam goes through: only they have had seams.
CARRYING = ("welt", "midsole", "insole")
SAME_REWELT_DAYS = 120  # a welt fitted so near to a rewelt is that one


def layer_faults(row: Mapping[str, Any]) -> Iterator[tuple[str, str, str]]:
    """Say which values of a layer cannot be true: column, why, what is accepted.

    Parameters
    ----------
    row : mapping
        Columns of `frames.LAYER_ROWS`; None where nothing is known.
    """
    new, now, limit = (row.get(f"{c}_mm") for c in ("nominal_thickness", "thickness", "limit"))
    if new is not None and new <= 0:
        yield "nominal_thickness_mm", "a new layer has some thickness", "more than 0 mm"
    if new is not None and now is not None and now > new:
        yield "thickness_mm", f"{now:g} mm is more than the new layer has", f"up to {new:g} mm"
    if new is not None and limit is not None and limit >= new:
        said = f"{limit:g} mm is not under the new layer"
        yield "limit_mm", said, f"less than {new:g} mm"
    fitted, removed = row.get("fitted_on"), row.get("removed_on")
    if fitted is not None and removed is not None and removed < fitted:
        yield "removed_on", "it came off before it was fitted", f"{str(fitted)[:10]} or later"
    if row.get("earlier_seams") is not None and row["layer"] not in CARRYING:
        yield "earlier_seams", "no outseam goes through it", f"seams of {', '.join(CARRYING)}"


def layers_on(layers: pd.DataFrame, pair_id: str) -> pd.DataFrame:
    """Give the layers that are in a pair now, of each the newest.

    Parameters
    ----------
    layers : DataFrame
        Rows of `frames.LAYER_ROWS`, as known on one day.
    """
    if layers.empty:
        return layers
    own = layers[(layers["pair_id"] == pair_id) & layers["removed_on"].isna()]
    own = own.sort_values(["fitted_on", "layer_id"], na_position="first")
    return own.drop_duplicates(["layer", "foot"], keep="last")


def top_piece_mm(
    layers: pd.DataFrame, fitted_on: Any, column: str = "nominal_thickness_mm"
) -> float | None:
    """Thickness when new, or another column, of the top piece that is on; None: not logged.

    Parameters
    ----------
    layers : DataFrame
        As of `layers_on`.
    fitted_on : date
        Day of the sole that is on: it brought its own top piece, unless one was fitted later.
    """
    tops = layers[layers["layer"] == "top_piece"]
    earlier = (tops["fitted_on"] < pd.Timestamp(fitted_on)).to_numpy(bool)
    mm = tops[column].to_numpy(float)[~earlier]
    mm = mm[~np.isnan(mm)]
    return float(mm[-1]) if len(mm) else None


def carrier_word(construction: str) -> str:
    """Name the layer that a construction's outseam holds to; empty = the upper itself."""
    if construction in ("goodyear_welted", "hand_welted", "norwegian"):
        return "welt"
    return {"blake_rapid": "midsole", "blake": "insole"}.get(construction, "")


def rewelt_days(
    layers: pd.DataFrame | None, pair_id: str, jobs: pd.Series, first_on: pd.Timestamp
) -> pd.Series:
    """Days on which the welt of a pair was renewed: by a job here, or by a logged new welt.

    Parameters
    ----------
    layers : DataFrame, optional
        Rows of `frames.LAYER_ROWS`.
    jobs : Series of datetime64
        Days on which the rewelts of the pair were received.
    first_on : Timestamp
        Day of its first sole; a welt fitted by then is the first one.
    """
    if layers is None or layers.empty:
        return jobs
    welts = layers[(layers["pair_id"] == pair_id) & (layers["layer"] == "welt")]
    fitted = welts.loc[welts["fitted_on"] > first_on, "fitted_on"].drop_duplicates()
    known = jobs.dropna().to_numpy("datetime64[D]")
    days = fitted.to_numpy("datetime64[D]")
    near = np.abs((days[:, None] - known[None, :]).astype(int)) <= SAME_REWELT_DAYS
    more = fitted[~near.any(axis=1)]
    return pd.concat([jobs, more]) if len(more) else jobs
