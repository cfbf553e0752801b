"""Quotes: what does a pair need, what would it cost, and how many wear days would each way buy?

Needs are the works among the findings; an alternative is one way to meet them. Wear days bought are
those until the first point is due after the work, less those until it is due now. So an early
repair gives away what was left, and a worn heel limits what a new sole buys.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from solespan.forecast.bench.findings import Finding, PairState, findings_of
from solespan.forecast.bench.minutes import JobMinutes
from solespan.forecast.bench.standards import (
    STANDARDS,
    WET_BOTTOM_HOURS,
    Job,
    drying_of,
    price_share,
)
from solespan.forecast.bench.visits import (
    NEW_SOLES,
    WHOLE_SOLES,
    clashes,
    completed,
    missing_for_half,
    shares_of,
)
from solespan.forecast.errors import BadHorizon
from solespan.forecast.layers.carriers import admits, is_at_its_end
from solespan.forecast.layers.thickness import (
    GUARD_MM,
    LEATHERS,
    half_sole_mm,
    other_thickness_mm,
    usual_thickness_mm,
)
from solespan.forecast.priors import MATERIAL_RATE

__all__ = ["Alternative", "Needs", "PairState", "needs_of", "quote", "quote_visit"]

# Common practice, no source.
LIFE_LOG_SD = 0.25  # of the next sole's life against the rate of this one
_Z90 = 1.2815515655446004


@dataclass(frozen=True)
class Needs:
    """Works a pair needs now, each with its reason; `sole` tells whether one is due.

    findings : what each part leads to. depends_on : what must be seen before a price stands.
    """

    works: dict[str, str]
    sole: bool
    findings: tuple[Finding, ...] = ()
    depends_on: tuple[str, ...] = ()


@dataclass(frozen=True)
class Alternative:
    """One way: its works, what it costs and takes, and the wear days it buys.

    minutes_low, minutes_high : 80 % interval of the hands-on time.
    wear_days_bought, wear_days_low, wear_days_high : until the first point is due, and 80 %.
    waiting_hours : of the calendar, while cement and finish dry.
    uses : material -> quantity. soles_left : new soles that the pair can usually take after it.
    """

    works: tuple[str, ...]
    why: tuple[str, ...]
    price_minor: int
    minutes: float
    minutes_low: float
    minutes_high: float
    wear_days_bought: float
    wear_days_low: float
    wear_days_high: float
    waiting_hours: float
    uses: dict[str, float]
    soles_left: int

    @property
    def price_minor_per_wear_day(self) -> float:
        """What a wear day costs this way."""
        return self.price_minor / self.wear_days_bought if self.wear_days_bought > 0 else np.inf


def needs_of(pair: PairState) -> Needs:
    """Say which works a pair needs, from its state; works of one visit are done together."""
    findings = findings_of(pair)
    works: dict[str, str] = {}
    for one in findings:
        if one.work is not None and one.leads_to in ("work", "open first"):
            works[one.work] = f"{works[one.work]}; {one.why}" if one.work in works else one.why
    if "rewelt" in works and "full_sole" in works:  # a rewelt brings the sole
        works["rewelt"] = f"{works.pop('full_sole')}, and {works['rewelt']}"
    sole = any(work in works for work in WHOLE_SOLES)
    renewed = ("toe_piece", "restitch", "guard") if sole else ()
    covered = {*renewed, *(("top_piece",) if sole or "heel_block" in works else ())}
    works = {work: why for work, why in works.items() if work not in covered}
    depends = tuple(one.why for one in findings if works and _is_open(one, sole=sole))
    return Needs(works, sole, tuple(findings), depends)


def _is_open(one: Finding, *, sole: bool) -> bool:
    return one.leads_to == "open first" or (sole and one.leads_to == "question")


def quote(
    pair: PairState,
    minutes: JobMinutes,
    price_minor: Mapping[str, int],
    worker: str | None = None,
    drying_hours: Mapping[str, float] | None = None,
) -> list[Alternative]:
    """Offer the ways to meet a pair's needs, the one with the cheapest wear day first.

    Parameters
    ----------
    pair : PairState
    minutes : JobMinutes
        The shop's own times.
    price_minor : mapping
        Work -> list price in the shop's currency.
    worker : str, optional
        Whose pace counts.
    drying_hours : mapping, optional
        Work -> hours of the calendar that it dries in this shop; others as the standards.

    Returns
    -------
    list of Alternative
        Empty when nothing is needed yet.
    """
    works = needs_of(pair).works
    if not works:
        return []
    shop = (minutes, price_minor, worker, drying_hours)
    out = [_alternative(pair, way, *shop) for way in _ways(pair, works)]
    return sorted(out, key=lambda a: (a.price_minor_per_wear_day, a.price_minor))


def quote_visit(
    pair: PairState,
    works: Sequence[str],
    minutes: JobMinutes,
    price_minor: Mapping[str, int],
    worker: str | None = None,
    drying_hours: Mapping[str, float] | None = None,
) -> Alternative:
    """Quote works that somebody chose, done in one visit, with what must be done with them.

    Raises `BadHorizon` where they cannot stand together; its message says why.
    """
    against = "; ".join(clashes(pair, works))
    if against or not works:
        raise BadHorizon(f"works: {against or 'none is chosen'}")
    needed = needs_of(pair).works
    way = completed(pair, {work: needed.get(work, "as chosen") for work in works})
    return _alternative(pair, way, minutes, price_minor, worker, drying_hours)


def _ways(pair: PairState, works: Mapping[str, str]) -> list[dict[str, str]]:
    ways = [dict(works)]
    sole = works.get("full_sole")
    material = pair.sole[0]
    rest = {work: why for work, why in works.items() if work != "full_sole"}
    if sole is not None and _takes_half(pair, material):
        half = rest | {"half_sole": f"{sole}; the waist and heel stay"}
        if pair.is_due("heel") and "heel_block" not in rest:
            half["top_piece"] = f"about {pair.wear_days_left('heel'):.0f} wear days are left there"
        if pair.parts.get("top_piece") in ("broken", "missing") and "heel_block" not in rest:
            half["top_piece"] = f"the top piece is {pair.parts['top_piece']}"
        ways.append(half)
    if set(works) == {"toe_piece"} or set(works) == {"guard"}:
        ways.append({"full_sole": "renews the whole ground"})
    welted = not admits("rewelt", pair.construction, material)
    if welted and is_at_its_end(pair.construction, pair.seams):
        ways += [_with_rewelt(way, pair.seams) for way in ways if "full_sole" in way]
    return ways


def _with_rewelt(way: Mapping[str, str], seams: int) -> dict[str, str]:
    rest = {work: why for work, why in way.items() if work != "full_sole"}
    return rest | {"rewelt": f"{way['full_sole']}; the welt has had {seams} seams"}


def _takes_half(pair: PairState, material: str) -> bool:
    """Half soles want a sound waist, shank, insole, heel block and dry filler."""
    if pair.has_guard or admits("half_sole", pair.construction, material):
        return False
    return not missing_for_half(pair)


def _alternative(
    pair: PairState,
    way: Mapping[str, str],
    minutes: JobMinutes,
    price_minor: Mapping[str, int],
    worker: str | None,
    drying_hours: Mapping[str, float] | None,
) -> Alternative:
    material = pair.sole[0]
    job = Job(pair.construction, material, pair.channel)
    low, each, high = minutes.visit(tuple(way), pair.construction, worker, job)
    price = sum(
        price_minor[work] * price_share(work, job) * of_price
        for work, (_, of_price) in shares_of(tuple(way)).items()
    )
    days = _days_bought(pair, way)
    uses: Counter[str] = Counter()
    for work in way:
        uses.update(dict(STANDARDS[work].uses))
    new_soles = 1 if any(work in way for work in NEW_SOLES) else 0
    rewelted = pair.rewelts + ("rewelt" in way)
    after = replace(pair, resoles=pair.resoles + new_soles, rewelts=rewelted)
    return Alternative(
        works=tuple(way),
        why=tuple(way.values()),
        price_minor=round(price),
        minutes=each,
        minutes_low=low,
        minutes_high=high,
        wear_days_bought=days[1],
        wear_days_low=days[0],
        wear_days_high=days[2],
        waiting_hours=_waiting_hours(pair, way, job, drying_hours),
        uses=dict(uses),
        soles_left=after.soles_left,
    )


def _waiting_hours(
    pair: PairState, way: Mapping[str, str], job: Job, drying_hours: Mapping[str, float] | None
) -> float:
    """Hours of the calendar: a wet bottom dries first, and the slowest work of the visit counts.

    A guard on a new sole waits until that is dry, then dries itself.
    """
    wet = any(pair.parts.get(part) == "wet" for part in ("cork", "insole"))
    first = WET_BOTTOM_HOURS if wet else 0.0
    hours = {work: drying_of(work, job, drying_hours) for work in way}
    over = hours.pop("guard") if any(one in way for one in NEW_SOLES) and "guard" in way else 0.0
    return first + over + max(hours.values())


def _days_bought(pair: PairState, works: Mapping[str, str]) -> tuple[float, float, float]:
    """Wear days until the first point is due after the works, less before: 10, 50 and 90 %."""
    stopped = pair.hole or any(pair.is_bad(part) for part in ("stitching", "shank", "heel_block"))
    points = [p for p in ("ball", "toe", "heel") if np.isfinite(pair.wear_days_left(p))]
    if not points:
        return 0.0, 0.0, 0.0
    before = 0.0 if stopped else min(pair.wear_days_left(p) for p in points)
    after = _after(pair, works)
    left = {p: after.wear_days_left(p) for p in points}
    renewed = {p for p in points if after.thickness_mm[p] != pair.thickness_mm[p]}
    reach = np.exp(_Z90 * LIFE_LOG_SD)
    low, high = (
        min(days * (scale if p in renewed else 1.0) for p, days in left.items()) - before
        for scale in (1 / reach, reach)
    )
    return max(0.0, low), max(0.0, min(left.values()) - before), max(0.0, high)


def _after(pair: PairState, works: Mapping[str, str]) -> PairState:
    """The state of the ground once the works are done."""
    material, new_mm, _ = pair.sole
    cover, mm = pair.cover, dict(pair.thickness_mm)
    ground, limits = (pair.material, pair.ground_mm), dict(pair.limit_mm)
    if any(work in works for work in WHOLE_SOLES):
        if pair.cover == "half":
            new_mm = usual_thickness_mm(material, pair.construction, pair.kind)
        ground, cover = (material, new_mm), "full"
    elif "half_sole" in works:
        half_mm = half_sole_mm(pair.kind) if material in LEATHERS else new_mm
        ground, cover = (material, min(half_mm, new_mm)), "half"
    base = pair.base
    if "guard" in works:  # over the new sole, or over the one that stays
        renewed = any(work in works for work in NEW_SOLES)
        base = (*ground, ground[1]) if renewed else pair.sole
        ground, cover = ("rubber", GUARD_MM), "guard"
    fitted = any(work in works for work in (*NEW_SOLES, "guard"))
    if fitted:
        mm |= {"ball": ground[1], "toe": ground[1]}
        limits = {p: own for p, own in limits.items() if p == "heel"}
    base_mm = None if fitted else pair.lug_base_mm
    heel_mm = pair.heel_mm
    if any(work in works for work in (*WHOLE_SOLES, "top_piece", "heel_block")):
        mm["heel"] = other_thickness_mm("top_piece", pair.kind)
        limits.pop("heel", None)
        heel_mm = None
    if "toe_piece" in works:
        mm["toe"] = min(other_thickness_mm("toe_piece", pair.kind), new_mm)
    ratio = MATERIAL_RATE[ground[0]] / MATERIAL_RATE[pair.material]
    rate = {
        point: value * (1.0 if point == "heel" else ratio)
        for point, value in pair.rate_mm_per_wear_day.items()
    }
    return replace(
        pair,
        material=ground[0],
        new_mm=ground[1],
        base=base,
        cover=cover,
        thickness_mm=mm,
        rate_mm_per_wear_day=rate,
        limit_mm=limits,
        lug_base_mm=base_mm,
        heel_mm=heel_mm,
    )
