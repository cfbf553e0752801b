"""Quotes: what does a pair need, what would it cost, and how many wear days would each way buy?

Needs come from the condition report and from the forecast's thickness and rate; an alternative is
one way to meet them. Wear days bought are those of the new sole, less those the old one still had:
repairing early gives away what was left.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from solespan.forecast.bench.minutes import JobMinutes

__all__ = ["Alternative", "Needs", "PairState", "needs_of", "quote"]

# Common practice, no source: new thickness in mm, and how a half sole lives beside a full one.
NEW_MM = {"full_sole": 5.0, "half_sole": 4.5, "rewelt": 5.0}
TOP_PIECE_MM, LIMIT_MM = 6.0, 2.0
SOON_WEAR_DAYS = 30.0
_NO_HALF = ("crepe", "microcellular", "lug_rubber")


@dataclass(frozen=True)
class PairState:
    """What is known of a pair: its construction, its sole, and where it stands.

    thickness_mm, rate_mm_per_wear_day, limit_mm : by point; a missing point is unknown.
    parts : worst state of each part in the condition report: good, worn, broken, missing.
    soles_had : soles fitted so far, earlier resoles included.
    """

    construction: str
    material: str
    thickness_mm: Mapping[str, float]
    rate_mm_per_wear_day: Mapping[str, float]
    limit_mm: Mapping[str, float] = field(default_factory=dict)
    parts: Mapping[str, str] = field(default_factory=dict)
    hole: bool = False
    soles_had: int = 1

    def wear_days_left(self, point: str) -> float:
        """Wear days until the limit at a point; inf where nothing is known."""
        thickness, rate = self.thickness_mm.get(point), self.rate_mm_per_wear_day.get(point)
        if thickness is None or rate is None or not rate > 0:
            return np.inf
        return max(0.0, (thickness - self.limit_mm.get(point, LIMIT_MM)) / rate)


@dataclass(frozen=True)
class Needs:
    """Works a pair needs now, each with its reason; `sole` tells whether one is due."""

    works: dict[str, str]
    sole: bool


@dataclass(frozen=True)
class Alternative:
    """One way: its works, what it costs and takes, and the wear days it buys.

    minutes_low, minutes_high : 80 % interval of the hands-on time.
    wear_days_bought : of the part it renews; inf is never given.
    """

    works: tuple[str, ...]
    why: tuple[str, ...]
    price_minor: int
    minutes: float
    minutes_low: float
    minutes_high: float
    wear_days_bought: float

    @property
    def price_minor_per_wear_day(self) -> float:
        """What a wear day costs this way."""
        return self.price_minor / self.wear_days_bought if self.wear_days_bought > 0 else np.inf


def needs_of(pair: PairState) -> Needs:
    """Say which works a pair needs, from its state.

    A part the report calls broken or missing needs work; a worn welt needs it when a sole comes
    off. Points near their limit (30 wear days, common practice) are done at the same time.
    """
    works: dict[str, str] = {}
    parts = pair.parts
    bad = ("broken", "missing")
    left = pair.wear_days_left("ball")
    sole = pair.hole or left <= SOON_WEAR_DAYS or parts.get("stitching") in bad
    if sole:
        reason = (
            "a hole at the ball"
            if pair.hole
            else "the outsole seam is broken"
            if parts.get("stitching") in bad
            else f"about {left:.0f} wear days are left at the ball"
        )
        welt_gone = parts.get("welt") in bad or (parts.get("welt") == "worn" and sole)
        works["rewelt" if welt_gone else "full_sole"] = (
            f"{reason}, and the welt is {parts['welt']}" if welt_gone else reason
        )
    elif parts.get("welt") in bad:
        works["rewelt"] = f"the welt is {parts['welt']}"
        sole = True
    if parts.get("heel_block") in bad:
        works["heel_block"] = f"the heel block is {parts['heel_block']}"
    heel = pair.wear_days_left("heel")
    if heel <= SOON_WEAR_DAYS and not sole:
        works["top_piece"] = f"about {heel:.0f} wear days are left at the heel"
    toe = pair.wear_days_left("toe")
    if not sole and (toe <= SOON_WEAR_DAYS or parts.get("toe") in bad):
        worn = parts.get("toe") in bad
        works["toe_plate"] = "the toe is " + parts["toe"] if worn else f"{toe:.0f} wear days at toe"
    return Needs(works, sole)


def quote(
    pair: PairState,
    minutes: JobMinutes,
    price_minor: Mapping[str, int],
    worker: str | None = None,
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

    Returns
    -------
    list of Alternative
        Empty when nothing is needed yet.
    """
    needs = needs_of(pair)
    if not needs.works:
        return []
    ways = [needs.works]
    half_can = "full_sole" in needs.works and pair.material not in _NO_HALF
    if half_can and "heel_block" not in needs.works:
        why = needs.works["full_sole"]
        half = {k: v for k, v in needs.works.items() if k != "full_sole"}
        half["half_sole"] = f"{why}; the waist and heel stay"
        heel = pair.wear_days_left("heel")
        if heel <= SOON_WEAR_DAYS:
            half["top_piece"] = f"about {heel:.0f} wear days are left at the heel"
        ways.append(half)
    if "toe_plate" in needs.works and len(needs.works) == 1:
        ways.append({"full_sole": "renews the toe with the whole sole"})
    out = [_alternative(pair, way, minutes, price_minor, worker) for way in ways]
    return sorted(out, key=lambda a: (a.price_minor_per_wear_day, a.price_minor))


def _alternative(
    pair: PairState,
    way: Mapping[str, str],
    minutes: JobMinutes,
    price_minor: Mapping[str, int],
    worker: str | None,
) -> Alternative:
    each = [minutes.median(work, pair.construction, worker) for work in way]
    spans = [minutes.interval(work, pair.construction) for work in way]
    middle = [minutes.median(work, pair.construction) for work in way]
    scale = [own / usual for own, usual in zip(each, middle, strict=True)]
    return Alternative(
        works=tuple(way),
        why=tuple(way.values()),
        price_minor=sum(price_minor[work] for work in way),
        minutes=sum(each),
        minutes_low=sum(low * s for (low, _), s in zip(spans, scale, strict=True)),
        minutes_high=sum(high * s for (_, high), s in zip(spans, scale, strict=True)),
        wear_days_bought=_bought(pair, tuple(way)),
    )


def _bought(pair: PairState, works: tuple[str, ...]) -> float:
    """Wear days of what is renewed, less what was left; the longest of the works."""
    bought = [0.0]
    for work in works:
        point = "ball" if work in NEW_MM else "toe" if work == "toe_plate" else "heel"
        rate = pair.rate_mm_per_wear_day.get(point)
        if rate is None or not rate > 0:
            continue
        new_mm = NEW_MM.get(work, TOP_PIECE_MM if point == "heel" else 4.0)
        whole = (new_mm - pair.limit_mm.get(point, LIMIT_MM)) / rate
        bought.append(max(0.0, whole - min(pair.wear_days_left(point), whole)))
    return max(bought)
