"""Findings: what does each part of a pair lead to: a work, a question, opening first, or nothing?

Parts come from the condition report, points from the forecast. Signs decide and counts warn.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from solespan.forecast.layers.carriers import (
    CARRIERS,
    WELTED,
    admits,
    is_at_its_end,
    remaining_soles,
)
from solespan.forecast.layers.limits import default_limit_mm, lug_limit_mm
from solespan.forecast.layers.stack import Layer, default_stack
from solespan.forecast.layers.thickness import LEATHERS, is_guard, usual_thickness_mm

__all__ = [
    "LEADS_TO",
    "PARTS",
    "SOON_WEAR_DAYS",
    "Finding",
    "PairState",
    "findings_of",
    "layers_of",
]

# Common practice, no source.
SOON_WEAR_DAYS = 30.0
GUARD_NEEDS_MM = 2.5  # of leather below a new guard
LEADS_TO = ("work", "question", "open first", "leave it")
# Parts that the condition report asks about.
PARTS = (
    "stitching", "welt", "heel_block", "toe", "shank", "cork", "uppers", "top_piece", "guard",
    "insole", "lining",
)  # fmt: skip
_CALLED = ("book in", "stop wearing")
_BAD = ("broken", "missing", "wet")


@dataclass(frozen=True)
class PairState:
    """What is known of a pair: its construction, its layers, and where they stand.

    material, cover, new_mm : of the layer on the ground.
    thickness_mm, rate_mm_per_wear_day, limit_mm : by point; a missing point is unknown, and a
        missing limit is the default of the layer.
    base : the sole below a guard: material, mm when new, mm now; None = ordinary new leather.
    parts : worst state of each part in the condition report: good, worn, broken, missing, wet.
    resoles : new soles so far; seams : outseams that the carrier has had; rewelts : renewals of it.
    stood : new soles that the construction allows, where the shop knows better.
    band : band of the pair in the forecast; who is told to book in needs a sole.
    kind : weight that it is built for; None = men's.
    lug_base_mm : thickness below the lugs of the unit on the ground, as it was read.
    midsole : whether a midsole was logged. heel_mm : top piece when new; None = that of the kind.
    logged : layers beside the sole as the log has them; the others have the defaults.
    """

    construction: str
    material: str
    thickness_mm: Mapping[str, float]
    rate_mm_per_wear_day: Mapping[str, float]
    limit_mm: Mapping[str, float] = field(default_factory=dict)
    parts: Mapping[str, str] = field(default_factory=dict)
    hole: bool = False
    cover: str | None = None
    channel: str | None = None
    new_mm: float | None = None
    base: tuple[str, float, float] | None = None
    resoles: int = 0
    seams: int = 1
    rewelts: int = 0
    stood: int | None = None
    band: str | None = None
    kind: str | None = None
    lug_base_mm: float | None = None
    midsole: bool = False
    heel_mm: float | None = None
    logged: tuple[Layer, ...] = ()

    @property
    def has_guard(self) -> bool:
        """Whether the layer on the ground is a guard over the sole."""
        return is_guard(self.material, self.ground_mm, self.cover)

    @property
    def ground_mm(self) -> float:
        """Thickness of the layer on the ground when it was new."""
        if self.new_mm is not None:
            return self.new_mm
        return usual_thickness_mm(self.material, self.construction, self.kind)

    @property
    def sole(self) -> tuple[str, float, float]:
        """The sole itself, below a guard or on the ground: material, mm when new, mm now."""
        if not self.has_guard:
            now_mm = self.thickness_mm.get("ball", self.ground_mm)
            return self.material, self.ground_mm, now_mm
        leather = "veg_tan_leather"
        usual_mm = usual_thickness_mm(leather, self.construction, self.kind)
        return self.base or (leather, usual_mm, usual_mm)

    @property
    def soles_left(self) -> int:
        """New soles that it can usually still take."""
        return remaining_soles(self.construction, self.resoles, self.rewelts, stood=self.stood)

    def limit_at(self, point: str) -> float:
        """Limit at a point: its own, else the default of the layer."""
        own = self.limit_mm.get(point)
        if own is not None:
            return own
        if self.lug_base_mm is not None and self.material == "lug_rubber" and point != "heel":
            return float(lug_limit_mm(self.lug_base_mm, self.ground_mm))
        return default_limit_mm(
            self.material,
            point,
            self.ground_mm,
            self.cover,
            self.kind,
            midsole=self.midsole,
            heel_mm=self.heel_mm,
        )

    def wear_days_left(self, point: str) -> float:
        """Wear days until the limit at a point; inf where nothing is known."""
        thickness, rate = self.thickness_mm.get(point), self.rate_mm_per_wear_day.get(point)
        if thickness is None or rate is None or not rate > 0:
            return np.inf
        return max(0.0, (thickness - self.limit_at(point)) / rate)

    def is_due(self, point: str) -> bool:
        """Whether a point reaches its limit within `SOON_WEAR_DAYS`, or the band says so."""
        called = point == "ball" and self.band in _CALLED
        return called or self.wear_days_left(point) <= SOON_WEAR_DAYS

    def is_bad(self, part: str) -> bool:
        """Whether the report calls a part broken, missing or wet."""
        return self.parts.get(part) in _BAD


@dataclass(frozen=True)
class Finding:
    """One part or point: its state, what it leads to (a word of `LEADS_TO`), which work, why."""

    part: str
    state: str
    leads_to: str
    work: str | None
    why: str


def findings_of(pair: PairState) -> list[Finding]:
    """Say what each point and each part of the report leads to, in their order."""
    ground = _ground(pair)
    out = [ground] if ground is not None else []
    sole = _needs_sole(pair, ground)
    out += [one for point in ("heel", "toe") if (one := _point(pair, point)) is not None]
    out += [_part(pair, part, sole=sole) for part in PARTS]
    return [*out, *_counts(pair, sole=sole)]


def _needs_sole(pair: PairState, ground: Finding | None) -> bool:
    """Whether the sole itself comes off: for its ground, its welt, its seam or wet filler."""
    if ground is not None and ground.work == "full_sole":
        return True
    if pair.is_bad("welt") and not admits("rewelt", pair.construction, pair.material):
        return True
    seam = admits("restitch", pair.construction, pair.material)
    return pair.parts.get("cork") == "wet" or (pair.is_bad("stitching") and bool(seam))


def layers_of(pair: PairState) -> tuple[Layer, ...]:
    """Give the layers of a pair, from the foot down."""
    return default_stack(
        pair.construction,
        pair.material,
        new_mm=pair.new_mm,
        limit_mm=pair.limit_at("ball"),
        cover=pair.cover,
        base=None if pair.base is None else pair.base[:2],
        kind=pair.kind,
        logged=pair.logged,
    )


def _ground(pair: PairState) -> Finding | None:
    """What the layer on the ground needs at the ball, if anything."""
    left = pair.wear_days_left("ball")
    if not (pair.hole or pair.is_due("ball")):
        return None
    why = "a hole at the ball" if pair.hole else f"about {left:.0f} wear days are left at the ball"
    if pair.has_guard:
        return _guard(pair, "ball", "hole" if pair.hole else "worn", f"{why} of the guard")
    return Finding("ball", "hole" if pair.hole else "worn", "work", "full_sole", why)


def _guard(pair: PairState, part: str, state: str, why: str) -> Finding:
    material, _, now_mm = pair.sole
    kept = admits("guard", pair.construction, material)
    if kept and pair.has_guard:
        return Finding(part, state, "work", "full_sole", f"{why}; {kept}")
    if kept:
        return Finding(part, state, "question", None, f"{why}; {kept}")
    if material in LEATHERS and now_mm < GUARD_NEEDS_MM:
        said = f"{why}; {now_mm:.1f} mm of leather below is too little for a new guard"
        return Finding(part, state, "work", "full_sole", said)
    return Finding(part, state, "work", "guard", why)


def _point(pair: PairState, point: str) -> Finding | None:
    if not pair.is_due(point):
        return None
    work = "top_piece" if point == "heel" else "toe_piece"
    left = pair.wear_days_left(point)
    return Finding(
        point, "worn", "work", work, f"about {left:.0f} wear days are left at the {point}"
    )


def _part(pair: PairState, part: str, *, sole: bool) -> Finding:
    state = pair.parts.get(part, "not seen")
    if state == "good":
        return Finding(part, state, "leave it", None, "no fault was seen")
    if state == "not seen":
        return _unseen(pair, part, sole=sole)
    leads_to, work, why = _RULES[part](_Seen(pair, state, state in _BAD, sole))
    return Finding(part, state, leads_to, work, why or f"the {part.replace('_', ' ')} is {state}")


def _unseen(pair: PairState, part: str, *, sole: bool) -> Finding:
    """A part nobody looked at: it matters when a sole comes off."""
    name = part.replace("_", " ")
    matters = ("welt", "shank", "cork", "uppers", "insole")
    if sole and part in matters and not (part == "welt" and pair.construction not in WELTED):
        return Finding(part, "not seen", "question", None, f"look at the {name} before the sole")
    return Finding(part, "not seen", "leave it", None, f"nobody has looked at the {name}")


_Told = tuple[str, str | None, str]


@dataclass(frozen=True)
class _Seen:
    """One part that was looked at; `bad`: broken, missing or wet; `sole`: a new sole is due."""

    pair: PairState
    state: str
    bad: bool
    sole: bool


def _stitching(seen: _Seen) -> _Told:
    if not seen.bad:
        return "leave it", None, "a worn channel flap is a matter of looks"
    why = "the outsole seam is broken"
    if seen.sole or admits("restitch", seen.pair.construction, seen.pair.material):
        return "work", "full_sole", why
    return "work", "restitch", f"{why}, and the sole is thick enough"


def _welt(seen: _Seen) -> _Told:
    kept = admits("rewelt", seen.pair.construction, seen.pair.material)
    if kept:
        return "question", None, f"{kept}: ask the maker" if seen.bad else kept
    if seen.bad or seen.sole:
        return "work", "rewelt", ""
    return "leave it", None, "the welt is worn: it matters when a sole comes off"


def _heel_block(seen: _Seen) -> _Told:
    if seen.bad:
        return "work", "heel_block", ""
    return "leave it", None, "the heel block is worn: its lifts wear only after the top piece"


def _toe(seen: _Seen) -> _Told:
    if seen.sole:
        return "leave it", None, "the new sole renews the toe"
    if seen.bad:
        return "work", "toe_piece", ""
    return "question", None, "is the toe worn within 2 mm of the welt? Then it needs a toe piece"


def _shank(seen: _Seen) -> _Told:
    if seen.bad:
        return "work", "shank", ""
    return "question", None, "does the waist click or dip when bent? Then the shank is broken"


def _cork(seen: _Seen) -> _Told:
    if seen.state == "wet":
        return "open first", "full_sole", "the filler is wet: dry it two or three days, then look"
    if seen.bad and seen.sole:
        return "leave it", None, "the new sole makes the filler good"
    if seen.bad:
        return "question", None, "does the hollow filler hurt? Then it is filled now, under a sole"
    return "leave it", None, "the next sole makes the filler good"


def _uppers(seen: _Seen) -> _Told:
    if seen.bad:
        return "question", None, "the uppers are broken: ask the owner before any sole"
    return "leave it", None, "worn uppers want care, no work"


def _top_piece(seen: _Seen) -> _Told:
    if seen.sole:
        return "leave it", None, "a full sole brings a new top piece"
    if seen.bad:
        return "work", "top_piece", ""
    return "leave it", None, "the forecast says when the top piece is due"


def _guard_part(seen: _Seen) -> _Told:
    if seen.sole or (seen.state == "missing" and not seen.pair.has_guard):
        return "leave it", None, "no guard is wanted here"
    if not seen.bad:
        return "question", None, "is the guard lifted? Up to a third of it is glued again"
    found = _guard(seen.pair, "guard", seen.state, f"the guard is {seen.state}")
    return found.leads_to, found.work, found.why


def _insole(seen: _Seen) -> _Told:
    if seen.bad:
        return (
            "open first",
            None,
            f"the insole is {seen.state}: look at it; a new one is the maker's work",
        )
    return "leave it", None, "a worn insole does its work"


def _lining(seen: _Seen) -> _Told:
    if seen.bad:
        return "work", "sock", f"the lining is {seen.state} at the foot bed"
    return "leave it", None, "a worn lining does its work"


_RULES = {
    "stitching": _stitching,
    "welt": _welt,
    "heel_block": _heel_block,
    "toe": _toe,
    "shank": _shank,
    "cork": _cork,
    "uppers": _uppers,
    "top_piece": _top_piece,
    "guard": _guard_part,
    "insole": _insole,
    "lining": _lining,
}


def _counts(pair: PairState, *, sole: bool) -> list[Finding]:
    """Warnings by count: how many seams the carrier has had, and how many soles are left."""
    if not sole:
        return []
    out = []
    carrier = CARRIERS[pair.construction]
    if is_at_its_end(pair.construction, pair.seams):
        why = (
            f"{carrier.name} has had {pair.seams} of the {carrier.least} to {carrier.most} seams "
            "it stands: look at its holes"
        )
        out.append(Finding("carrier", f"{pair.seams} seams", "open first", None, why))
    if pair.soles_left == 0:
        why = f"it has had {pair.resoles} new soles; its construction usually allows no more"
        out.append(Finding("soles", f"{pair.resoles} new soles", "question", None, why))
    return out
