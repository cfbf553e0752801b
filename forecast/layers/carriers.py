"""Carriers of the outseam: what does a sole's seam hold to, and how many soles can it still take?

Counts are common practice, no source, and only warn: the signs on the shoe decide.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from solespan.forecast.frames import CONSTRUCTIONS
from solespan.forecast.layers.rows import carrier_word
from solespan.forecast.layers.thickness import LEATHERS, are_guards

__all__ = [
    "CARRIERS",
    "SOLES_PER_REWELT",
    "WELTED",
    "Carrier",
    "admits",
    "count_resoles",
    "is_at_its_end",
    "remaining_soles",
    "seams_of_carrier",
]

SOLES_PER_REWELT = 2  # further soles that one more new welt brings


@dataclass(frozen=True)
class Carrier:
    """What holds the sole.

    outseams, least, most : seams it usually stands, the first included, and the range.
    renewals : how often it can be renewed; 0 = never.
    soles, least_soles, most_soles : new soles of the shoe's life after the first, and the range.
    """

    name: str
    outseams: int
    least: int
    most: int
    renewals: int
    soles: int
    least_soles: int
    most_soles: int


CARRIERS: dict[str, Carrier] = {
    "goodyear_welted": Carrier("the welt on its gemming", 3, 3, 4, 1, 5, 3, 8),
    "hand_welted": Carrier("the welt in the holdfast", 4, 3, 5, 2, 8, 5, 10),
    "norwegian": Carrier("the upper's flange or the welt", 3, 2, 4, 1, 4, 3, 5),
    "stitchdown": Carrier("the upper's flange", 3, 2, 4, 0, 2, 1, 3),
    "blake": Carrier("the insole", 3, 2, 4, 0, 2, 1, 3),
    "blake_rapid": Carrier("the midsole", 3, 3, 4, 1, 4, 3, 6),
    "cemented": Carrier("the bonded margin of the upper", 2, 1, 3, 0, 1, 0, 2),
}
WELTED = ("goodyear_welted", "hand_welted", "norwegian")
# Units in one piece: half of one cannot be replaced.
UNITS = ("lug_rubber", "crepe", "microcellular")
if set(CARRIERS) != set(CONSTRUCTIONS):
    raise RuntimeError("every construction needs its carrier")


def is_at_its_end(construction: str, seams: int) -> bool:
    """Say whether a carrier has had as many outseams as it usually stands."""
    return seams >= CARRIERS[construction].outseams


def remaining_soles(
    construction: str,
    resoles: int,
    rewelts: int = 0,
    *,
    stood: int | None = None,
    per_rewelt: int = SOLES_PER_REWELT,
) -> int:
    """New soles that a shoe can usually still take.

    Parameters
    ----------
    resoles : int
        New soles so far, the first sole left out.
    rewelts : int
        How often its welt was renewed; those that are usual are in the count already.
    stood : int, optional
        New soles that its construction allows in all, where the shop or the owner knows better.
    per_rewelt : int
        Further soles that a renewal beyond the usual ones brings.
    """
    one = CARRIERS[construction]
    allowed = one.soles if stood is None else stood
    return max(allowed + per_rewelt * max(rewelts - one.renewals, 0) - resoles, 0)


def count_resoles(soles: pd.DataFrame, earlier: float | None) -> int:
    """New soles so far: `earlier` ones before the first here, and those here.

    A guard is none, nor is a sole that carries on once its guard is off.

    Parameters
    ----------
    soles : DataFrame
        Rows of `frames.SOLES` of one pair.
    earlier : float or None
        `earlier_resoles` of the pair; missing counts as none.
    """
    before = 0 if earlier is None or pd.isna(earlier) else int(earlier)
    guard = are_guards(
        soles["material"].to_numpy(object),
        soles["nominal_thickness_mm"].to_numpy(float),
        list(soles["cover"]),
    )
    carried_on = soles["continues"].notna() if "continues" in soles else False
    return before + max(int((~guard & ~np.asarray(carried_on)).sum()) - 1, 0)


def seams_of_carrier(
    soles: pd.DataFrame,
    earlier: float | None,
    rewelts: pd.Series,
    *,
    construction: str = "",
    layers: pd.DataFrame | None = None,
) -> int:
    """Outseams that the carrier has had, the first included; only those since the last rewelt.

    Parameters
    ----------
    soles, earlier : as of `count_resoles`.
    rewelts : Series of datetime64
        Days on which the rewelts of the pair were received; `rows.rewelt_days` gives them.
    construction, layers : str, DataFrame, optional
        Of the pair, as of `rows.layers_on`: `earlier_seams` of what carries the seam count.
    """
    own = None if layers is None or layers.empty else layers
    if own is not None:
        own = own[(own["layer"] == carrier_word(construction)) & own["earlier_seams"].notna()]
        own = own[own["fitted_on"] >= rewelts.max()] if rewelts.notna().any() else own
    if own is not None and len(own):
        row = own.sort_values("fitted_on", na_position="first").iloc[-1]
        since = (
            soles if pd.isna(row["fitted_on"]) else soles[soles["fitted_on"] >= row["fitted_on"]]
        )
        here = count_resoles(since, None) + 1 if len(since) else 0
        return int(own["earlier_seams"].max()) + here
    if rewelts.notna().any():
        since = soles[soles["fitted_on"] >= rewelts.max()]
        return max(count_resoles(since, None) + 1, 1)
    return count_resoles(soles, earlier) + 1


def admits(work: str, construction: str, material: str) -> str:
    """Say why a construction or a sole does not admit a work; empty = it does.

    Parameters
    ----------
    work, construction, material : words of `forecast.frames`; the material that is there now.
    """
    how = construction.replace("_", " ")
    if work == "rewelt" and construction not in WELTED:
        return f"a {how} shoe has no welt to replace"
    if work == "half_sole" and material in UNITS:
        return f"a {material.replace('_', ' ')} sole is one unit"
    if work == "half_sole" and construction == "cemented" and material not in LEATHERS:
        return "a half sole on a cemented shoe needs a leather sole"
    if work == "restitch" and construction == "cemented":
        return "a cemented shoe has no seam"
    if work == "guard" and material not in (*LEATHERS, "rubber"):
        return "a guard needs a smooth sole below it"
    return ""
