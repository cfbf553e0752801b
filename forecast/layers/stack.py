"""Stack of layers: which layers has a pair's bottom, from the foot down, before anybody says more?

Construction, material and cover give the default stack. A simple pair needs no more words.
"""

from __future__ import annotations

from dataclasses import dataclass

from solespan.forecast.layers.carriers import WELTED
from solespan.forecast.layers.limits import OTHER_LIMIT_MM, default_limit_mm
from solespan.forecast.layers.thickness import (
    GUARD_MM,
    LEATHERS,
    NEW_MM,
    is_guard,
    usual_thickness_mm,
)

__all__ = ["SOURCE", "Layer", "default_stack"]

SOURCE = "common practice, no source"
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

    assumed : whether its thickness is a default.
    """

    part: str
    material: str
    new_mm: float | None
    limit_mm: float | None
    seam: str
    assumed: bool


def default_stack(
    construction: str,
    material: str,
    *,
    new_mm: float | None = None,
    limit_mm: float | None = None,
    cover: str | None = None,
    base: tuple[str, float] | None = None,
) -> tuple[Layer, ...]:
    """Give the layers of a bottom, from the foot down to the ground.

    Parameters
    ----------
    construction, material, cover : words of `forecast.frames`, of the layer on the ground.
    new_mm, limit_mm : float, optional
        Of that layer; without them the defaults.
    base : (material, mm when new), optional
        The sole below a guard; without it an ordinary leather sole.
    """
    guard = cover == "guard" or (new_mm is not None and is_guard(material, new_mm, cover))
    usual = GUARD_MM if guard else usual_thickness_mm(material, construction)
    ground_mm = usual if new_mm is None else new_mm
    if limit_mm is None:
        limit_mm = default_limit_mm(material, "ball", ground_mm, cover)
    out = [_other("sock", "leather"), _other("insole", "leather")]
    if construction != "cemented":
        out += [_other("shank", "steel"), _other("filler", "cork")]
    if construction in WELTED:
        out.append(_other("welt", "leather", seam="inseam"))
    lugs = material in ("lug_rubber", "microcellular")
    if construction == "blake_rapid" or (lugs and construction != "cemented"):
        out.append(_other("midsole", "leather"))
    seam = _SEAMS[construction]
    if guard or cover == "half":
        kind, mm = base or ("veg_tan_leather", usual_thickness_mm("veg_tan_leather", construction))
        below = default_limit_mm(kind, "ball", mm)
        out.append(Layer("outsole", kind, mm, below, seam, base is None))
    part = "guard" if guard else "half sole" if cover == "half" else "outsole"
    own = "none" if guard else seam
    out.append(Layer(part, material, ground_mm, limit_mm, own, new_mm is None))
    heel = "leather" if material in LEATHERS or guard else "rubber"
    return (*out, _other("lifts", heel), _other("top_piece", "rubber"))


def _other(part: str, material: str, *, seam: str = "none") -> Layer:
    return Layer(part, material, NEW_MM[part], OTHER_LIMIT_MM.get(part), seam, assumed=True)
