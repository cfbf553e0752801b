"""Words of works: what does a customer read of the works on a pair?"""

from __future__ import annotations

from collections.abc import Sequence

from solespan.dashboards.language import Language, gettext_noop
from solespan.forecast.frames import WORKS

__all__ = ["works_words"]

_WORKS = {
    "full_sole": gettext_noop("full sole"),
    "half_sole": gettext_noop("half sole"),
    "top_piece": gettext_noop("top piece of the heel"),
    "toe_plate": gettext_noop("toe plate"),
    "rewelt": gettext_noop("new welt"),
    "heel_block": gettext_noop("new heel"),
    "guard": gettext_noop("rubber guard"),
    "toe_piece": gettext_noop("toe piece"),
    "restitch": gettext_noop("new stitching"),
    "shank": gettext_noop("shank"),
    "sock": gettext_noop("inner sock"),
}
if set(_WORKS) != set(WORKS):
    raise RuntimeError("every kind of work needs its words for customers")


def works_words(works: Sequence[str], language: Language) -> str:
    """Name works: Full sole, toe plate."""
    said = ", ".join(language.gettext(_WORKS[work]) for work in works)
    return said[:1].upper() + said[1:]
