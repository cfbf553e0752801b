"""Cautions: which cautions belong to which work?

Common practice in the trade; none replaces local codes or the maker's sheet of a product.
"""

from __future__ import annotations

from solespan.dashboards.language import gettext_noop
from solespan.forecast.frames import WORKS

__all__ = ["DEFER", "FOR_WEARERS", "cautions_of"]

DEFER = (
    "Follow the local codes and the safety sheets of your materials. Leave licensed work to those "
    "licensed for it."
)
FOR_WEARERS = (
    gettext_noop(
        "Smooth or worn leather soles slip on wet ground, and metal plates slip on stone."
    ),
    gettext_noop("A sole past its limit lets water in: stop wearing it."),
    gettext_noop("Dates here are estimates; look at the sole itself."),
)
_SOLVENTS = (
    "Cement and finish: their solvents burn and harm. Draw the air down and away from the bench, "
    "keep lids on, no flame or spark near."
)
_DUST = (
    "Scouring: leather dust harms the lungs and can catch fire in a duct. Extract it at the "
    "machine, wear a fitted mask as well, and look for nails before scouring."
)
_NAILS = (
    "Nails and tacks: eye protection when pulling them; feel inside the shoe for points before it "
    "goes back."
)
_BLADES = "Knives: cut away from the body, and keep the other hand behind the edge."
_MACHINES = (
    "Trimmer, buffer and stitcher: eye and ear protection, sleeves and hair tied, no gloves near "
    "what turns."
)
_WEARER = (
    "Tell the wearer: new leather soles slip on wet floors, metal plates slip on stone; scuff the "
    "sole before the first walk."
)
_BY_WORK: dict[str, tuple[str, ...]] = {
    "full_sole": (_BLADES, _NAILS, _SOLVENTS, _DUST, _MACHINES, _WEARER),
    "half_sole": (_BLADES, _NAILS, _SOLVENTS, _DUST, _MACHINES, _WEARER),
    "rewelt": (_BLADES, _NAILS, _SOLVENTS, _DUST, _MACHINES, _WEARER),
    "top_piece": (_BLADES, _NAILS, _SOLVENTS, _DUST, _MACHINES),
    "toe_plate": (_BLADES, _MACHINES, _WEARER),
    "heel_block": (_BLADES, _NAILS, _SOLVENTS, _DUST, _MACHINES),
    "guard": (_SOLVENTS, _DUST, _MACHINES, _WEARER),
    "toe_piece": (_BLADES, _NAILS, _SOLVENTS, _DUST, _MACHINES, _WEARER),
    "restitch": (_BLADES, _MACHINES),
    "shank": (_BLADES, _NAILS, _SOLVENTS, _DUST),
    "sock": (_BLADES, _SOLVENTS),
}
if set(_BY_WORK) != set(WORKS):
    raise RuntimeError("every kind of work needs its cautions")


def cautions_of(work: str) -> tuple[str, ...]:
    """Return the cautions of one kind of work, the general one last."""
    return (*_BY_WORK[work], DEFER)
