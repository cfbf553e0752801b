"""Layers of soles: which logged layers were with each sole, and what does its heel begin with?"""

from __future__ import annotations

import numpy as np

from solespan.forecast.frames import KINDS
from solespan.forecast.layers.thickness import other_thickness_mm
from solespan.forecast.log import LogColumns, WearLog
from solespan.forecast.panel.exposure import NEVER, days_of

__all__ = ["soles_layers", "top_pieces"]


def soles_layers(
    log: WearLog | LogColumns,
    code: dict[object, int],
    pair: np.ndarray,
    fitted: np.ndarray,
    end: np.ndarray,
    today: int,
) -> dict[str, np.ndarray]:
    """Give `midsole`, `plated`, `heel_mm` and `heel_limit_mm` of each sole.

    A midsole or plate counts for a sole that it was with; of top pieces the newest.

    Parameters
    ----------
    code : dict
        Place of each pair by its id.
    pair, fitted, end : ndarray, shape (soles,)
        Place of the pair of each sole, in order; days fitted and taken off.
    """
    size = len(pair)
    heel_mm = np.full(len(code), other_thickness_mm("top_piece"))
    ids = np.asarray(log.pairs["pair_id"], dtype=object)
    kinds = np.asarray(log.pairs["kind"], dtype=object)
    for kind in KINDS:
        own = [code[one] for one in ids[kinds == kind] if one in code]
        heel_mm[own] = other_thickness_mm("top_piece", kind)
    out = {
        "midsole": np.zeros(size, bool),
        "plated": np.zeros(size, bool),
        "heel_mm": heel_mm[pair],
        "heel_limit_mm": np.full(size, np.nan),
    }
    if not len(log.layers["pair_id"]):
        return out
    on, off = _span(log, today)
    part = np.asarray(log.layers["layer"], dtype=object)
    new_mm = np.asarray(log.layers["nominal_thickness_mm"], dtype=float)
    limit_mm = np.asarray(log.layers["limit_mm"], dtype=float)
    owner = np.asarray(log.layers["pair_id"], dtype=object)
    read = np.isin(part, ["midsole", "toe_plate", "top_piece"]) & (on <= today)
    place = np.array([code.get(one, -1) for one in owner], dtype=np.int64)
    first, last = np.searchsorted(pair, place), np.searchsorted(pair, place, side="right")
    for row in np.flatnonzero(read)[np.argsort(on[read], kind="stable")]:
        its = np.arange(first[row], last[row])
        its = its[(on[row] <= end[its]) & (off[row] > fitted[its])]
        if part[row] == "top_piece":  # a sole fitted later brought its own
            its = its[(on[row] >= fitted[its]) | (on[row] == 0)]
            for name, value in (("heel_mm", new_mm[row]), ("heel_limit_mm", limit_mm[row])):
                if not np.isnan(value):
                    out[name][its] = value
        else:
            out["midsole" if part[row] == "midsole" else "plated"][its] = True
    return out


def top_pieces(
    log: WearLog | LogColumns, code: dict[object, int], today: int
) -> dict[str, np.ndarray]:
    """Give `top_pair` and `top_day`: pair and day of each top piece with a day of fitting."""
    none = np.zeros(0, np.int64)
    if not len(log.layers["pair_id"]):
        return {"top_pair": none, "top_day": none}
    on, _ = _span(log, today)
    is_top = np.asarray(log.layers["layer"], dtype=object) == "top_piece"
    owner = np.asarray(log.layers["pair_id"], dtype=object)
    pair = np.array([code.get(one, -1) for one in owner], dtype=np.int64)
    keep = is_top & (on > 0) & (on <= today) & (pair >= 0)
    return {"top_pair": pair[keep], "top_day": on[keep]}


def _span(log: WearLog | LogColumns, today: int) -> tuple[np.ndarray, np.ndarray]:
    """Days on which layers came and went; 0: from the first, `NEVER`: still there."""
    on, off = days_of(log.layers["fitted_on"]), days_of(log.layers["removed_on"])
    undated = np.isnat(np.asarray(log.layers["fitted_on"], dtype="datetime64[s]"))
    return np.where(undated, 0, on), np.where(off > today, NEVER, off)
