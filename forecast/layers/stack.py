"""Stack of layers: which layers has a pair's bottom, from the foot down, before anybody says more?

Construction, material and cover give the default stack. A simple pair needs no more words.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from solespan.forecast.frames import LAYERS
from solespan.forecast.layers.carriers import WELTED
from solespan.forecast.layers.limits import OTHER_LIMIT_MM, default_limit_mm
from solespan.forecast.layers.thickness import (
    GUARD_MM,
    LEATHERS,
    NEW_MM,
    is_guard,
    other_thickness_mm,
    usual_thickness_mm,
)

__all__ = ["SOURCE", "Layer", "default_stack", "logged_layers"]

SOURCE = "common practice, no source"
# From the foot down; what lies on the ground stands between the midsole and the heel.
ORDER = LAYERS
BELOW_THE_SOLE = ("lifts", "top_piece", "toe_piece", "toe_plate")
_SEAMS = {
    "goodyear_welted": "welt",
    "hand_welted": "welt",
    "norwegian": "norwegian",
    "stitchdown": "stitched aloft",
    "blake": "blake",
    "blake_rapid": "aloft to the midsole",
    "cemented": "none",
}


@dataclass(frozen=True)
class Layer:
    """One layer; a thickness or limit of None says that the layer does not wear by thickness.

    assumed : whether its thickness is a default. now_mm : as it was read last.
    """

    part: str
    material: str
    new_mm: float | None
    limit_mm: float | None
    seam: str
    assumed: bool
    now_mm: float | None = None


def default_stack(
    construction: str,
    material: str,
    *,
    new_mm: float | None = None,
    limit_mm: float | None = None,
    cover: str | None = None,
    base: tuple[str, float] | None = None,
    kind: str | None = None,
    logged: Sequence[Layer] = (),
) -> tuple[Layer, ...]:
    """Give the layers of a bottom, from the foot down to the ground.

    Parameters
    ----------
    construction, material, cover, kind : words of `forecast.frames`; of the layer on the ground.
    new_mm, limit_mm : float, optional
        Of that layer; without them the defaults.
    base : (material, mm when new), optional
        The sole below a guard; without it an ordinary leather sole.
    logged : sequence of Layer, optional
        Layers beside the sole that somebody logged, in the place of the defaults.
    """
    guard = cover == "guard" or (new_mm is not None and is_guard(material, new_mm, cover))
    usual = GUARD_MM if guard else usual_thickness_mm(material, construction, kind)
    ground_mm = usual if new_mm is None else new_mm
    if limit_mm is None:
        limit_mm = default_limit_mm(material, "ball", ground_mm, cover)

    def other(part: str, material: str, *, seam: str = "none") -> Layer:
        new = other_thickness_mm(part, kind)
        return Layer(part, material, new, OTHER_LIMIT_MM.get(part), seam, assumed=True)

    out = [other("sock", "leather"), other("insole", "leather")]
    if construction != "cemented":
        out += [other("shank", "steel"), other("filler", "cork")]
    if construction in WELTED:
        out.append(other("welt", "leather", seam="inseam"))
    lugs = material in ("lug_rubber", "microcellular")
    if construction == "blake_rapid" or (lugs and construction != "cemented"):
        out.append(other("midsole", "leather"))
    seam = _SEAMS[construction]
    if guard or cover == "half":
        leather = "veg_tan_leather"
        old, mm = base or (leather, usual_thickness_mm(leather, construction, kind))
        below = default_limit_mm(old, "ball", mm)
        out.append(Layer("outsole", old, mm, below, seam, base is None))
    part = "guard" if guard else "half sole" if cover == "half" else "outsole"
    own = "none" if guard else seam
    out.append(Layer(part, material, ground_mm, limit_mm, own, new_mm is None))
    heel = "leather" if material in LEATHERS or guard else "rubber"
    out += [other("lifts", heel), other("top_piece", "rubber")]
    if not logged:
        return tuple(out)
    return _with_logged(out, logged)


def _with_logged(usual: Sequence[Layer], logged: Sequence[Layer]) -> tuple[Layer, ...]:
    """Put logged layers in the place of the usual ones, in their order."""
    named = {one.part for one in logged}
    beside = [*(one for one in usual if one.part in ORDER and one.part not in named), *logged]
    beside.sort(key=lambda one: ORDER.index(one.part))
    soles = [one for one in usual if one.part not in ORDER]
    above = [one for one in beside if one.part not in BELOW_THE_SOLE]
    return (*above, *soles, *(one for one in beside if one.part in BELOW_THE_SOLE))


def logged_layers(layers: pd.DataFrame, kind: str | None = None) -> tuple[Layer, ...]:
    """Give the layers of one pair as somebody logged them, of both feet the thinner.

    Parameters
    ----------
    layers : DataFrame
        As of `rows.layers_on`.
    kind : str, optional
        Weight that the pair is built for: thickness when nobody said.
    """
    out = []
    for part, rows in layers.groupby("layer", sort=False) if len(layers) else ():
        row = rows.sort_values("thickness_mm", na_position="last").iloc[0]
        new, limit = row["nominal_thickness_mm"], row["limit_mm"]
        word = str(part)
        usual = other_thickness_mm(word, kind) if word in NEW_MM else None
        new_mm = usual if pd.isna(new) else float(new)
        limit_mm = OTHER_LIMIT_MM.get(word) if pd.isna(limit) else float(limit)
        now = row["thickness_mm"]
        out.append(
            Layer(
                word,
                "not said" if pd.isna(row["material"]) else str(row["material"]),
                new_mm,
                limit_mm,
                "none" if pd.isna(row["seam"]) else str(row["seam"]),
                bool(pd.isna(new)),
                None if pd.isna(now) else float(now),
            )
        )
    return tuple(out)
