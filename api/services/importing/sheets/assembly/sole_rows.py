"""Sole rows: which soles has a pair had, by all that the sheets say of it?

A pair needs one sole at least. Where no sheet says when it was fitted, or of what it is, a usual
value stands in and is marked as assumed. A day of wear before the first sole adds an earlier sole.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, timedelta

from solespan.api.services.importing.sheets.assembly.people import Pair, SoleFact
from solespan.api.services.importing.sheets.cells.dates import Day
from solespan.api.services.importing.sheets.cells.words import say
from solespan.api.services.importing.sheets.questions import Asker
from solespan.api.services.importing.sheets.translation import Assumption, Place
from solespan.forecast.layers.thickness import usual_thickness_mm

__all__ = ["USUAL_CONSTRUCTION", "USUAL_MATERIAL", "Sole", "soles_of"]

USUAL_CONSTRUCTION = "goodyear_welted"
USUAL_MATERIAL = "veg_tan_leather"
AGES = {"new": 0, "half a year": 182, "a year": 365, "two years": 730, "four years": 1461}
Assume = Callable[[Assumption], None]


@dataclass
class Sole:
    """One row of soles, before its cells become text."""

    sole_id: str
    fitted_on: date
    material: str
    thickness_mm: float
    limit_mm: float | None
    cover: str
    channel: str
    removed_on: date | None
    place: Place


def soles_of(
    pair: Pair, stored_days: frozenset[date], asker: Asker, today: date, assume: Assume
) -> list[Sole]:
    """Return the soles of one pair in order; `stored_days` are those that the database knows."""
    dated = _dated(pair)
    if not pair.known:
        _add_first(pair, dated, asker, today, assume)
    loose = [fact for fact in pair.facts if not fact.days]
    out = []
    days = sorted(dated)
    for n, day in enumerate(days):
        fact = _filled(dated[day], loose, last=n + 1 == len(days))
        following = days[n + 1] if n + 1 < len(days) else None
        if day not in stored_days:
            out.append(_sole(pair, day, fact, following, assume))
    return out


def _dated(pair: Pair) -> dict[date, SoleFact]:
    """Give each day of fitting the fact of a row; a second row fills what the first lacks."""
    out: dict[date, SoleFact] = {}
    for fact in pair.facts:
        for day in fact.days:
            before = out.get(day.day)
            single = len(fact.days) == 1
            own = replace(
                fact,
                days=(day,),
                sole_id=fact.sole_id if single else "",
                removed=fact.removed if day == max(fact.days, key=lambda d: d.day) else None,
            )
            out[day.day] = _merge(before, own) if before else own
    return out


def _merge(first: SoleFact, other: SoleFact) -> SoleFact:
    return replace(
        first,
        sole_id=first.sole_id or other.sole_id,
        material=first.material or other.material,
        thickness_mm=first.thickness_mm if first.thickness_mm is not None else other.thickness_mm,
        limit_mm=first.limit_mm if first.limit_mm is not None else other.limit_mm,
        cover=first.cover or other.cover,
        channel=first.channel or other.channel,
        removed=first.removed or other.removed,
        guess=first.guess or other.guess,
    )


def _filled(fact: SoleFact, loose: list[SoleFact], *, last: bool) -> SoleFact:
    for other in loose:
        fact = _merge(fact, other if last else replace(other, removed=None, sole_id=""))
    return fact


def _add_first(
    pair: Pair, dated: dict[date, SoleFact], asker: Asker, today: date, assume: Assume
) -> None:
    """Add the sole that was on when the pair was first worn, where no row says of it."""
    first_day = min([*pair.days, *(start for start, _ in pair.periods)], default=None)
    if dated and (first_day is None or first_day >= min(dated)):
        return
    if pair.acquired and (first_day is None or pair.acquired.day <= first_day):
        on = pair.acquired.day
        why = "no day of fitting is stated; the sole is assumed as old as the pair"
    elif first_day is not None:
        on = first_day
        why = "no day of fitting is stated; the first day in the sheets is assumed"
    else:
        age = asker.ask(
            "age",
            "Some pairs come without any day. How old are their soles?",
            [(word, f"{word} old" if word != "new" else word) for word in AGES],
            "a year",
        )
        on = today - timedelta(days=AGES[age])
        why = f"no day is stated; the age of the sole is assumed: {age}"
    place = pair.place
    dated[on] = SoleFact(place, (Day(on),))
    assume(Assumption("soles", _sole_id(pair, on), "fitted_on", on.isoformat(), why))


def _sole_id(pair: Pair, day: date) -> str:
    return f"{pair.pair_id}-{day.isoformat()}"


def _sole(pair: Pair, day: date, fact: SoleFact, following: date | None, assume: Assume) -> Sole:
    sole_id = fact.sole_id or _sole_id(pair, day)

    def default(column: str, value: str, words: str) -> None:
        assume(Assumption("soles", sole_id, column, value, words))

    if fact.days and not fact.days[0].exact:
        default("fitted_on", day.isoformat(), "the sheet names no exact day; the middle is assumed")
    material = fact.material
    if not material:
        material = USUAL_MATERIAL
        default("material", material, f"no material is stated; {say(material)} is assumed")
    elif fact.guess:
        default("material", material, f"{fact.guess!r} is read as {say(material)}")
    thickness = fact.thickness_mm
    if thickness is None:
        construction = pair.values.get("construction", "") or USUAL_CONSTRUCTION
        thickness = usual_thickness_mm(material, construction, pair.values.get("kind"))
        default(
            "nominal_thickness_mm",
            f"{thickness:g}",
            f"no thickness when new is stated; the usual {thickness:g} mm is assumed",
        )
    limit = fact.limit_mm if fact.limit_mm is not None and fact.limit_mm < thickness else None
    removed = fact.removed.day if fact.removed else following
    if removed is not None and following is not None:
        removed = min(removed, following)
    if removed is not None and removed < day:
        removed = None
    return Sole(
        sole_id, day, material, thickness, limit, fact.cover, fact.channel, removed, fact.place
    )
