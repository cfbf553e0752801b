"""Visits: which works are done together, what does one bring, and which cannot stand together?

Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from solespan.forecast.bench.findings import PairState
from solespan.forecast.bench.standards import (
    SHANK_WITH_SOLE_MINUTES_SHARE,
    SHANK_WITH_SOLE_PRICE_SHARE,
)
from solespan.forecast.frames import WORKS
from solespan.forecast.layers.carriers import admits

__all__ = [
    "NEW_SOLES",
    "WHOLE_SOLES",
    "clashes",
    "completed",
    "main_work",
    "missing_for_half",
    "shares_of",
    "works_of",
]

WHOLE_SOLES = ("full_sole", "rewelt")
NEW_SOLES = (*WHOLE_SOLES, "half_sole")
# A work renews what these works renew.
_COVERS = {
    "rewelt": ("full_sole", "top_piece", "toe_piece", "restitch"),
    "full_sole": ("top_piece", "toe_piece", "restitch"),
    "half_sole": ("toe_piece", "restitch"),
    "heel_block": ("top_piece",),
}
_BEFORE_HALF = ("shank", "cork", "insole", "heel_block", "welt")
_MENDS = {"shank": "shank", "heel_block": "heel_block"}


def works_of(work: str, more_works: object) -> tuple[str, ...]:
    """Give all works of one job, the main one first.

    Parameters
    ----------
    more_works : str or other
        Further works, separated by spaces; what is no text is none.
    """
    return (work, *(more_works.split() if isinstance(more_works, str) else ()))


def main_work(works: Sequence[str]) -> str:
    """Say which of several works a job is known by: the one that fits a sole, else the first."""
    return next((work for work in ("rewelt", *NEW_SOLES) if work in works), works[0])


def shares_of(works: Sequence[str]) -> dict[str, tuple[float, float]]:
    """Share of its minutes and of its price that each work takes beside the others."""
    opened = any(work in works for work in NEW_SOLES)
    shank = (SHANK_WITH_SOLE_MINUTES_SHARE, SHANK_WITH_SOLE_PRICE_SHARE)
    return {work: shank if opened and work == "shank" else (1.0, 1.0) for work in works}


def missing_for_half(pair: PairState, mended: Sequence[str] = ()) -> str:
    """Say which part a half sole lacks, unless a work of the visit mends it; empty = none."""
    bad = [p for p in _BEFORE_HALF if pair.is_bad(p) and _MENDS.get(p) not in mended]
    return ", ".join(f"the {part.replace('_', ' ')} is {pair.parts[part]}" for part in bad)


def clashes(pair: PairState, works: Sequence[str]) -> Iterator[str]:
    """Say why works cannot be done in one visit of a pair; nothing = they can."""
    material = pair.sole[0]
    unknown = [work for work in works if work not in WORKS]
    if unknown:
        yield f"{unknown[0]!r} is no work; works are {', '.join(WORKS)}"
        return
    for work in works:
        why = admits(work, pair.construction, material)
        if why:
            yield why
    if "half_sole" in works:
        if any(work in works for work in WHOLE_SOLES):
            yield "a full sole leaves no place for a half sole"
        if pair.has_guard:
            yield "a guard lies where the half sole goes: the sole below decides"
        missing = missing_for_half(pair, works)
        if missing:
            yield f"a half sole wants sound parts, and {missing}"


def completed(pair: PairState, chosen: Mapping[str, str]) -> dict[str, str]:
    """Complete the works of a visit: leave out what another one brings, add what goes with it.

    Parameters
    ----------
    chosen : mapping
        Work -> why.

    Returns
    -------
    dict
        Work -> why, in the order of `frames.WORKS`, the main work first.
    """
    covered = {small for work in chosen for small in _COVERS.get(work, ())}
    works = {work: why for work, why in chosen.items() if work not in covered}
    if "half_sole" in works and "heel_block" not in works and "top_piece" not in works:
        bad = pair.parts.get("top_piece") in ("broken", "missing")
        if bad or pair.is_due("heel"):
            works["top_piece"] = "the heel is due too: it goes with the half sole"
    first = main_work(tuple(works))
    return {work: works[work] for work in (first, *WORKS) if work in works}
