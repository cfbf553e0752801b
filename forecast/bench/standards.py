"""Standard times, prices and materials.

What does each kind of work take, cost and use, before the shop's own record says better?

Minutes are hands-on time a pair. Every number here is common practice without a source, offered as
an editable default; prices are round figures inside published ranges of undated price lists.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from solespan.forecast.frames import CONSTRUCTIONS, WORKS
from solespan.forecast.layers.stack import SOURCE
from solespan.forecast.layers.thickness import LEATHERS

__all__ = [
    "AFTER_DRYING_SHARE",
    "BY_CONSTRUCTION",
    "BY_MATERIAL",
    "DRYING_BY_CONSTRUCTION",
    "DRYING_BY_MATERIAL",
    "IN_WORK_PER_BENCH",
    "MACHINE_OUTSEAM",
    "SOURCE",
    "STANDARDS",
    "WET_BOTTOM_HOURS",
    "Job",
    "Standard",
    "drying_of",
    "price_share",
    "standard_minutes",
]

AFTER_DRYING_SHARE = 0.4  # of a job's hands-on minutes, where it dries at all
# Most jobs begun and not done, for each bench: with fewer, a bench stands idle while work dries.
IN_WORK_PER_BENCH = 8
# A wet filler or insole dries 48 to 72 h at room heat before anything is fitted.
WET_BOTTOM_HOURS = 60.0


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


# Thread in metres: seam x (2 + 2 x thickness / pitch) x 1.15, the arithmetic of a lockstitch.
# The inseam of a rewelt takes 6 m more: common practice, no source.
STANDARDS: dict[str, Standard] = {
    "full_sole": Standard(
        130, 90, 210, 24, 11000, (("sole", 1), ("top_piece", 1), ("thread", 8.5), ("cement", 60))
    ),
    "half_sole": Standard(
        70, 45, 110, 12, 6500, (("half_sole", 1), ("thread", 5.5), ("cement", 30))
    ),
    "top_piece": Standard(20, 10, 35, 1, 2800, (("top_piece", 1), ("cement", 10))),
    "toe_plate": Standard(20, 10, 40, 0, 2500, (("toe_plate", 1),)),
    "rewelt": Standard(
        190,
        130,
        300,
        24,
        20000,
        (("sole", 1), ("top_piece", 1), ("welt", 1.3), ("thread", 14.5), ("cement", 60)),
    ),
    "heel_block": Standard(45, 30, 80, 4, 4500, (("top_piece", 1), ("cement", 20))),
    "guard": Standard(30, 20, 45, 12, 3300, (("cement", 25),)),
    "toe_piece": Standard(20, 15, 35, 12, 2000, (("cement", 10),)),
    "restitch": Standard(25, 15, 40, 0, 2000, (("thread", 2),)),
    "shank": Standard(45, 30, 70, 12, 3900, (("cement", 10),)),
    "sock": Standard(8, 5, 15, 1, 900, (("cement", 10),)),
}

# Minutes and share of the list price where the construction or the material changes the work. The
# outseam sets those of a sole, the inseam those of a rewelt.
BY_CONSTRUCTION: dict[tuple[str, str], tuple[float, float]] = {
    ("full_sole", "hand_welted"): (300.0, 2.2),
    ("full_sole", "norwegian"): (160.0, 1.25),
    ("full_sole", "blake"): (120.0, 0.95),
    ("full_sole", "cemented"): (90.0, 0.75),
    ("half_sole", "hand_welted"): (150.0, 1.0),
    ("half_sole", "cemented"): (45.0, 0.75),
    ("rewelt", "hand_welted"): (480.0, 1.7),
    ("restitch", "hand_welted"): (40.0, 1.0),
}
BY_MATERIAL: dict[tuple[str, str], tuple[float, float]] = {
    ("full_sole", "lug_rubber"): (90.0, 0.95),
    ("full_sole", "crepe"): (110.0, 0.90),
    ("full_sole", "microcellular"): (60.0, 0.60),
}
# Hours of drying where the construction or the material shortens them: cement without a seam's wet
# leather, or one layer alone.
DRYING_BY_CONSTRUCTION = {("full_sole", "blake"): 12.0, ("full_sole", "cemented"): 12.0}
DRYING_BY_MATERIAL = {
    ("full_sole", "lug_rubber"): 24.0,
    ("full_sole", "crepe"): 24.0,
    ("full_sole", "microcellular"): 12.0,
}
MACHINE_OUTSEAM = {"full_sole": (130.0, 1.0), "half_sole": (70.0, 1.0), "rewelt": (310.0, 1.35)}
_SOLES = ("full_sole", "rewelt")
PIT_TANNED_SHARE, CLOSED_SHARE = 0.20, 0.10  # of a full sole's price, added
CLOSED_MINUTES, CLOSED_BY_HAND_MINUTES = 15.0, 25.0
# A shank with the sole off takes and costs this share of one through the lifted waist.
SHANK_WITH_SOLE_MINUTES_SHARE, SHANK_WITH_SOLE_PRICE_SHARE = 10 / 45, 5 / 35


@dataclass(frozen=True)
class Job:
    """What is worked on: the pair's construction, and the sole that is fitted where known.

    channel : closed, open or none.
    by_machine : the outseam of a hand-welted shoe is sewn by machine.
    """

    construction: str
    material: str | None = None
    channel: str | None = None
    by_machine: bool = False


def drying_of(work: str, job: Job, shop_hours: Mapping[str, float] | None = None) -> float:
    """Hours of the calendar that one work on such a pair dries.

    Parameters
    ----------
    shop_hours : mapping, optional
        Work -> hours that the shop set. One that differs from the standard holds for every pair.
    """
    usual = STANDARDS[work].drying_hours
    own = (shop_hours or {}).get(work, usual)
    if own != usual:
        return own
    of_construction = DRYING_BY_CONSTRUCTION.get((work, job.construction), usual)
    return DRYING_BY_MATERIAL.get((work, job.material or ""), of_construction)


def standard_minutes(work: str, construction: str, job: Job | None = None) -> float:
    """Hands-on minutes of one pair by default.

    Raises `KeyError` for a work or construction that `forecast.frames` does not name.
    """
    return _standard(work, construction, job)[0]


def price_share(work: str, job: Job) -> float:
    """Share of the shop's list price that such a job costs; 1 = the list price."""
    return _standard(work, job.construction, job)[1]


def _standard(work: str, construction: str, job: Job | None) -> tuple[float, float]:
    if work not in WORKS or construction not in CONSTRUCTIONS:
        raise KeyError(f"{work!r} on {construction!r} is not in forecast.frames")
    minutes, share = BY_CONSTRUCTION.get((work, construction), (STANDARDS[work].minutes, 1.0))
    if job is None:
        return minutes, share
    hand = construction == "hand_welted" and not job.by_machine
    if construction == "hand_welted" and job.by_machine:
        minutes, share = MACHINE_OUTSEAM.get(work, (minutes, share))
    minutes, share = BY_MATERIAL.get((work, job.material or ""), (minutes, share))
    if work in _SOLES and job.material == "oak_bark_leather":
        share += PIT_TANNED_SHARE
    if work in _SOLES and job.channel == "closed" and job.material in LEATHERS:
        minutes += CLOSED_BY_HAND_MINUTES if hand else CLOSED_MINUTES
        share += CLOSED_SHARE
    return minutes, share
