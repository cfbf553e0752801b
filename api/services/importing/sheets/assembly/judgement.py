"""Judgement of records: which days of a row cannot be true?"""

from __future__ import annotations

from datetime import date

from solespan.api.services.importing.sheets.assembly.record import Record
from solespan.api.services.importing.sheets.cells.words import say
from solespan.api.services.importing.sheets.translation import Problem
from solespan.forecast.values import EARLIEST

__all__ = ["judge_days"]

MAY_BE_AHEAD = {"bench_jobs.promised_on"}
ORDERS = (
    ("bench_jobs.received_on", "bench_jobs.finished_on"),
    ("bench_jobs.received_on", "bench_jobs.returned_on"),
    ("bench_jobs.finished_on", "bench_jobs.returned_on"),
    ("soles.fitted_on", "soles.removed_on"),
)


def judge_days(record: Record, today: date) -> None:
    """Add a problem for each day ahead of today, and for each pair of days in the wrong order."""
    days = [
        (target, one)
        for target, found in record.days.items()
        if target not in MAY_BE_AHEAD
        for one in found
    ]
    for _, one in days:
        if one.day > today and one.exact:
            record.problems.append(
                Problem("", str(one.day), f"this day is in the future (today is {today})")
            )
        elif one.day < EARLIEST:
            record.problems.append(Problem("", str(one.day), f"this day is before {EARLIEST}"))
    for check in record.checks:
        if check.day is not None and check.day > today:
            record.problems.append(Problem("", str(check.day), "this day is in the future"))
    for earlier, later in ORDERS:
        first, second = record.day(earlier), record.day(later)
        if first and second and first.exact and second.exact and second.day < first.day:
            before = say(earlier.partition(".")[2])
            after = say(later.partition(".")[2])
            record.problems.append(
                Problem("", str(second.day), f"{after} is before {before}, {first.day}")
            )
