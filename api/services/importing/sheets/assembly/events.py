"""Event rows: which wear days, checks and bench jobs does a record state?

A record states an event by its columns, by a mark in a calendar, or by words such as `worn` or
`resoled` in a diary. What it states of soles goes to the pair's facts.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta

from solespan.api.services.importing.sheets.assembly.people import Pair, SoleFact
from solespan.api.services.importing.sheets.assembly.record import CheckRead, Record
from solespan.api.services.importing.sheets.cells.dates import Day
from solespan.api.services.importing.sheets.cells.quantities import digits
from solespan.api.services.importing.sheets.cells.words import say, word_of
from solespan.api.services.importing.sheets.questions import Asker
from solespan.api.services.importing.sheets.translation import Problem

__all__ = ["NO_EVENT", "RESOLES", "Rows", "apply_events", "check_rows", "job_rows", "wear_rows"]

RESOLES = ("full_sole", "half_sole", "rewelt")
NO_EVENT = "any.day"  # a day of which the row does not say what happened
OPEN_FOR = timedelta(days=60)
Rows = list[dict[str, str]]
Count = Callable[[str, str, str], None]


def apply_events(record: Record) -> list[SoleFact]:
    """Turn words of a diary into days of wear, checks and repairs; return the facts of soles.

    Words that name no event become a note.
    """
    facts: list[SoleFact] = []
    days = record.days.pop("any.date", [])
    if not record.events and days:
        record.days.setdefault("checks.checked_on" if record.checks else NO_EVENT, days)
    for text in record.events:
        work = word_of("work", text, near=False)[0]
        kind = word_of("event", text)[0] or ("checked" if record.checks else "")
        if work and kind not in ("worn", "checked", "bought"):
            record.works.append(work)
            record.days.setdefault("bench_jobs.finished_on", days)
        elif kind == "worn":
            record.days.setdefault("wear_days.worn_on", []).extend(days)
        elif kind == "checked":
            record.days.setdefault("checks.checked_on", days)
        elif kind == "resoled":
            facts.append(SoleFact(record.place, tuple(days)))
        elif kind == "bought" and days:
            record.days.setdefault("pairs.acquired_on", days)
        elif kind == "retired" and days:
            facts.append(SoleFact(record.place, removed=days[0]))
        else:
            dated = f"{days[0].day}: " if days else ""
            record.notes.append(f"{dated}{text}")
    return facts


def wear_rows(record: Record, pair: Pair) -> Rows:
    """Return the wear days of a record; adds a problem for a day that cannot be."""
    days = record.days.get("wear_days.worn_on", [])
    out: Rows = []
    if record.worn is False:
        return out
    for one in days:
        if not one.exact:
            record.problems.append(
                Problem("", str(one.day), "a wear needs an exact day", "a day such as 2024-03-31")
            )
        elif pair.acquired and pair.acquired.exact and one.day < pair.acquired.day:
            record.problems.append(
                Problem("", str(one.day), f"worn before it was bought ({pair.acquired.day})")
            )
        else:
            out.append(
                {
                    "pair_id": pair.pair_id,
                    "worn_on": one.day.isoformat(),
                    "hours": digits(record.number("wear_days.hours")),
                    "steps": digits(record.number("wear_days.steps")),
                    "surface": record.text("wear_days.surface"),
                    "wet": record.text("wear_days.wet"),
                    "driving_minutes": digits(record.number("wear_days.driving_minutes")),
                }
            )
    return out


def check_rows(record: Record, pair: Pair, asker: Asker, today: date, count: Count) -> Rows:
    """Return the checks of a record, on both feet where it names none and the answer is both.

    `count` is told of each foot, point, method or day that is assumed.
    """
    out: Rows = []
    for one in record.checks:
        stated = record.day("checks.checked_on")
        day = one.day or (stated.day if stated else None)
        if day is None:
            day = _day_asked(asker, today)
            count("checks", "checked_on", day.isoformat())
        for foot in _feet(one, record, asker, count):
            out.append(_check(one, record, pair, day, foot, count))
    return out


def _day_asked(asker: Asker, today: date) -> date:
    ages = {"today": 0, "a month ago": 30, "half a year ago": 182, "a year ago": 365}
    answer = asker.ask(
        "measured",
        "The sheet states no day for its thicknesses. When were they measured?",
        [(word, word) for word in ages],
        "today",
    )
    return today - timedelta(days=ages[answer])


def _feet(one: CheckRead, record: Record, asker: Asker, count: Count) -> list[str]:
    foot = one.foot or record.text("checks.foot")
    if not foot:
        foot = asker.ask(
            "foot",
            "A thickness stands for the pair. Of which shoe is it?",
            [("both", "both shoes"), ("left", "the left one"), ("right", "the right one")],
            "both",
        )
        count("checks", "foot", foot)
    return ["left", "right"] if foot == "both" else [foot]


def _check(
    one: CheckRead, record: Record, pair: Pair, day: date, foot: str, count: Count
) -> dict[str, str]:
    point = one.point or record.text("checks.point")
    method = one.method or record.text("checks.method")
    if not point:
        point = "ball"
        count("checks", "point", point)
    if not method:
        method = "thumb" if one.grade else "caliper"
        if not one.grade:
            count("checks", "method", method)
    return {
        "pair_id": pair.pair_id,
        "checked_on": day.isoformat(),
        "foot": foot,
        "point": point,
        "method": method,
        "value_mm": digits(one.value_mm),
        "grade": one.grade,
    }


def job_rows(
    record: Record,
    pair: Pair,
    facts: list[SoleFact],
    asker: Asker,
    today: date,
    count: Count,
    *,
    has_work: bool,
) -> Rows:
    """Return the bench jobs of a record; a finished resole also adds to `facts`."""
    names = ("received_on", "promised_on", "finished_on", "returned_on")
    days = {name: record.day(f"bench_jobs.{name}") for name in names}
    if not record.works and not (any(days.values()) and not has_work):
        return []
    if not record.works:
        work = asker.ask(
            "work",
            "Rows state repairs without the kind of work. What was done?",
            [(w, say(w)) for w in (*RESOLES, "top_piece", "toe_plate", "heel_block")],
            "full_sole",
        )
        count("bench_jobs", "work", work)
        record.works.append(work)
    start = days["received_on"] or days["finished_on"] or days["returned_on"]
    if start is None:
        record.problems.append(
            Problem("", ", ".join(record.works), "the repair has no day", "a day")
        )
        return []
    if days["received_on"] is None:
        count("bench_jobs", "received_on", "the day it was finished")
    facts += _renewed(record, days, start, today)
    return [_job(record, pair, work, n, days, start) for n, work in enumerate(record.works)]


def _renewed(
    record: Record, days: dict[str, Day | None], start: Day, today: date
) -> list[SoleFact]:
    """Give the new sole of a resole that is done; without a day of its end, on the day it came."""
    if not set(record.works) & set(RESOLES):
        return []
    end = days["finished_on"] or days["returned_on"]
    if end is None and start.day > today - OPEN_FOR:
        return []
    return [
        SoleFact(
            record.place,
            (end or start,),
            material=record.text("soles.material"),
            thickness_mm=record.number("soles.thickness"),
            cover="half" if "half_sole" in record.works else "",
        )
    ]


def _job(
    record: Record, pair: Pair, work: str, n: int, days: dict[str, Day | None], start: Day
) -> dict[str, str]:
    number = record.text("bench_jobs.job_id")
    job_id = number or f"{pair.pair_id}-{work}-{start.day}"
    money = record.number("bench_jobs.price") if n == 0 else None
    row = {
        "job_id": f"{job_id}-{work}" if n and number else job_id,
        "pair_id": pair.pair_id,
        "work": work,
        **{name: day.day.isoformat() if day else "" for name, day in days.items()},
        "bench_minutes": digits(record.number("bench_jobs.bench_minutes") if n == 0 else None),
        "price_minor": digits(money),
        "currency": record.text("bench_jobs.price.currency") if money is not None else "",
        "advised": record.text("bench_jobs.advised"),
    }
    row["received_on"] = start.day.isoformat()
    return row
