"""Standard times, prices and materials.

What does each kind of work take, cost and use, before the shop's own record says better?

Minutes are hands-on time a pair. Every number here is common practice without a source, offered as
an editable default; prices are round figures inside published ranges of undated price lists.
"""

from __future__ import annotations

from dataclasses import dataclass

from solespan.forecast.frames import CONSTRUCTIONS, WORKS

__all__ = [
    "AFTER_DRYING_SHARE",
    "IN_WORK_PER_BENCH",
    "SOURCE",
    "STANDARDS",
    "Standard",
    "standard_minutes",
]

SOURCE = "common practice, no source"
AFTER_DRYING_SHARE = 0.4  # of a job's hands-on minutes, where it dries at all
# Most jobs begun and not done, for each bench: with fewer, a bench stands idle while work dries.
IN_WORK_PER_BENCH = 8


@dataclass(frozen=True)
class Standard:
    """Defaults of one kind of work.

    minutes, low_minutes, high_minutes : hands-on time a pair, median and usual range.
    drying_hours : how long it waits for cement or finish in the middle of the work.
    price_minor : price in the minor unit of the shop's currency.
    uses : material -> quantity a pair, in the units of `forecast.bench.materials.UNITS`.
    """

    minutes: float
    low_minutes: float
    high_minutes: float
    drying_hours: float
    price_minor: int
    uses: tuple[tuple[str, float], ...]


STANDARDS: dict[str, Standard] = {
    "full_sole": Standard(
        130, 90, 210, 12, 11000, (("sole", 1), ("top_piece", 1), ("thread", 6), ("cement", 60))
    ),
    "half_sole": Standard(70, 45, 110, 6, 6500, (("half_sole", 1), ("thread", 3), ("cement", 30))),
    "top_piece": Standard(20, 10, 35, 1, 2800, (("top_piece", 1), ("cement", 10))),
    "toe_plate": Standard(20, 10, 40, 0, 2500, (("toe_plate", 1),)),
    "rewelt": Standard(
        190,
        130,
        300,
        12,
        20000,
        (("sole", 1), ("top_piece", 1), ("welt", 1.3), ("thread", 12), ("cement", 60)),
    ),
    "heel_block": Standard(45, 30, 80, 2, 4500, (("top_piece", 1), ("cement", 20))),
    "guard": Standard(30, 20, 45, 12, 3300, (("cement", 25),)),
    "toe_piece": Standard(20, 15, 35, 12, 2000, (("cement", 10),)),
    "restitch": Standard(25, 15, 40, 0, 2000, (("thread", 2),)),
    "shank": Standard(45, 30, 70, 12, 3900, (("cement", 10),)),
    "sock": Standard(8, 5, 15, 1, 900, (("cement", 10),)),
}

# Where the construction changes the work: sewn by hand, or without a seam outside.
_BY_CONSTRUCTION: dict[tuple[str, str], float] = {
    ("full_sole", "hand_welted"): 300.0,
    ("rewelt", "hand_welted"): 310.0,
    ("full_sole", "cemented"): 90.0,
    ("half_sole", "cemented"): 45.0,
}


def standard_minutes(work: str, construction: str) -> float:
    """Hands-on minutes of one pair by default.

    Raises `KeyError` for a work or construction that `forecast.frames` does not name.
    """
    if work not in WORKS or construction not in CONSTRUCTIONS:
        raise KeyError(f"{work!r} on {construction!r} is not in forecast.frames")
    return _BY_CONSTRUCTION.get((work, construction), STANDARDS[work].minutes)
