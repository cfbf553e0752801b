"""Record validation service.

Can one record be true, given the day it is and the soles that were on the pair?

Each rule answers with the field, why, and what is accepted. Types, words and bounds were checked
when the message was read; these rules need the clock or other rows.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from solespan.api.clock import is_time_zone
from solespan.forecast.layers.rows import layer_faults
from solespan.forecast.values import TEXT_PATTERNS

__all__ = ["Fault", "faults_of"]

Values = Mapping[str, Any]

# Days on which something happened; a promise may lie ahead.
_PAST_DAYS = {
    "pairs": ("acquired_on", "in_use_on"),
    "soles": ("fitted_on", "removed_on"),
    "wear_days": ("worn_on",),
    "checks": ("checked_on",),
    "bench_jobs": ("received_on", "finished_on", "returned_on"),
    "layers": ("fitted_on", "removed_on"),
}
_ORDERED_DAYS = {
    "soles": (("fitted_on", "removed_on"),),
    "bench_jobs": (("received_on", "finished_on"), ("received_on", "returned_on")),
}


@dataclass(frozen=True)
class Fault:
    """One value that cannot be true: its field, why, and what is accepted."""

    field: str
    why: str
    accepted: str


def faults_of(name: str, values: Values, *, today: date, soles: Sequence[Values]) -> list[Fault]:
    """Return every fault of one record.

    Parameters
    ----------
    name
        The table.
    values
        All columns of the record.
    today
        The calendar day where the wearer lives.
    soles
        `sole_id`, `fitted_on`, `removed_on` of the pair's other soles (empty above pairs).
    """
    own = {
        "wearers": _of_wearer,
        "soles": _of_sole,
        "wear_days": _of_wear_day,
        "checks": _of_check,
        "layers": _of_layer,
    }.get(name)
    faults = [*_of_days(name, values, today), *_of_money(values)]
    if own is not None:
        faults.extend(own(values, soles))
    return faults


def _of_days(name: str, values: Values, today: date) -> Iterator[Fault]:
    for field in _PAST_DAYS.get(name, ()):
        day = values.get(field)
        if day is not None and day > today:
            yield Fault(field, f"{day} lies in the future", f"a day up to {today}")
    for first, later in _ORDERED_DAYS.get(name, ()):
        begin, end = values.get(first), values.get(later)
        if begin is not None and end is not None and end < begin:
            yield Fault(later, f"{end} is before {first} {begin}", f"{begin} or later")


def _of_money(values: Values) -> Iterator[Fault]:
    if values.get("price_minor") is not None and values.get("currency") is None:
        yield Fault("currency", "a price without its currency", TEXT_PATTERNS["currency"][2])


def _of_wearer(values: Values, _soles: Sequence[Values]) -> Iterator[Fault]:
    if not is_time_zone(values["time_zone"]):
        yield Fault("time_zone", "not a time zone", TEXT_PATTERNS["time_zone"][2])


def _of_sole(values: Values, soles: Sequence[Values]) -> Iterator[Fault]:
    nominal, limit = values["nominal_thickness_mm"], values.get("limit_mm")
    if nominal <= 0:
        yield Fault("nominal_thickness_mm", "a new sole has some thickness", "more than 0 mm")
    if limit is not None and limit >= nominal:
        yield Fault("limit_mm", f"{limit} mm is not under the new sole", f"less than {nominal} mm")
    begin = values["fitted_on"]
    for other in soles:
        if other["sole_id"] == values["sole_id"]:
            continue
        if other["fitted_on"] == begin:
            yield Fault("fitted_on", f"{other['sole_id']} was fitted that day", "another day")
        first, second = sorted((values, other), key=lambda sole: sole["fitted_on"])
        ended = first.get("removed_on")
        if ended is not None and ended > second["fitted_on"] > first["fitted_on"]:
            yield Fault(
                "fitted_on" if second is values else "removed_on",
                f"{first['sole_id']} and {second['sole_id']} would be on the pair at once",
                "the earlier sole removed by the day the later one is fitted",
            )


def _of_wear_day(values: Values, soles: Sequence[Values]) -> Iterator[Fault]:
    yield from _after_first_sole("worn_on", values, soles)


def _of_check(values: Values, soles: Sequence[Values]) -> Iterator[Fault]:
    yield from _after_first_sole("checked_on", values, soles)
    results = [values.get(field) is not None for field in ("value_mm", "grade")]
    if sum(results) != 1:
        said = "both a thickness and a grade" if all(results) else "neither thickness nor grade"
        yield Fault("value_mm", said, "exactly one of value_mm and grade")
    lug_mm, value_mm = values.get("lug_mm"), values.get("value_mm")
    if lug_mm is not None and (value_mm is None or lug_mm > value_mm):
        accepted = "the whole thickness, and lugs that are a part of it"
        yield Fault("lug_mm", "lugs without a thickness that includes them", accepted)


def _of_layer(values: Values, _soles: Sequence[Values]) -> Iterator[Fault]:
    yield from (Fault(*fault) for fault in layer_faults(values))


def _after_first_sole(field: str, values: Values, soles: Sequence[Values]) -> Iterator[Fault]:
    if not soles:
        yield Fault("pair_id", "the pair has no sole yet", "a pair with a sole")
    elif values[field] < (first := min(sole["fitted_on"] for sole in soles)):
        yield Fault(
            field, f"{values[field]} is before the first sole was fitted", f"{first} or later"
        )
