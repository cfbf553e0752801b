"""Year report: what do the page, the command and `/v1/workload` say of the coming year?

One function gathers all of it, so the same numbers stand everywhere. A bench of another size is run
only where it is asked for. Leather is followed by how the stock is ordered as advised.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import numpy as np

from solespan.api.services.bench.bench_plan import run_unasked
from solespan.api.services.bench.stock_advice import advice, use_by_day
from solespan.api.services.bench.workload import (
    YearAhead,
    open_by_day,
    workload_body,
    year_ahead,
)
from solespan.api.storage.bench import stock
from solespan.api.storage.session import Database
from solespan.forecast.panel.wearer_parts import Runner
from solespan.forecast.workload import share_of_weeks_over
from solespan.forecast.workload.leather import Supplied, stock_by_day

__all__ = ["YearReport", "year_report"]


@dataclass(frozen=True)
class YearReport:
    """What was simulated, and all that is said of it as JSON values."""

    ahead: YearAhead
    body: dict[str, Any]


def year_report(
    database: Database,
    today: date,
    *,
    months: int = 12,
    by: str = "month",
    benches: int | None = None,
    runner: Runner | None = None,
) -> YearReport:
    """Report on the months to come.

    Parameters
    ----------
    by : str
        Length of the periods: week or month.
    benches : int, optional
        A number of benches to compare with today's.
    runner : Runner, optional
        Where the pairs are simulated; here unless told.

    Raises
    ------
    NothingForecast
        There is no fit yet.
    """
    ahead = year_ahead(database, today, months, runner=runner)
    body = workload_body(ahead, months, by)
    costs = dict(ahead.books.settings.leather_cost_minor)
    return YearReport(
        ahead,
        body
        | {
            "weeks_over": _weeks_over(ahead, ahead.books.settings.benches),
            "benches": [] if benches is None else _benches(ahead, benches),
            "leather": _leather(database, ahead, today, months, costs) if costs else [],
        },
    )


def _benches(ahead: YearAhead, asked: int) -> list[dict[str, Any]]:
    """Today's bench and another one, on the same jobs."""
    own = ahead.books.settings.bench_hours()
    return [
        {"benches": number, "weeks_over": _weeks_over(ahead, number)}
        | run_unasked(ahead, replace(own, benches=number))
        for number in dict.fromkeys((own.benches, asked))
    ]


def _weeks_over(ahead: YearAhead, benches: int) -> float:
    hours = replace(ahead.books.settings.bench_hours(), benches=benches)
    room = open_by_day(hours, ahead.simulated)
    return round(share_of_weeks_over(ahead.simulated, ahead.by_day["bench_hours"], room), 4)


def _leather(
    database: Database, ahead: YearAhead, today: date, months: int, costs: dict[str, int]
) -> list[dict[str, Any]]:
    """Money tied up in leather by week, each item ordered as it is advised."""
    advised = {row["item_id"]: row for row in advice(database, today, months)}
    with database.reading() as session:
        items = stock.list_items(session)
        used = use_by_day(session, ahead)
    value = np.zeros(ahead.by_day["jobs"].shape)
    kept = [item for item in items if item["use"] in costs and item["item_id"] in advised]
    for item in kept:
        supplied = Supplied(
            on_hand=item["quantity"],
            reorder_point=advised[item["item_id"]]["reorder_point"],
            minimum_order=item["minimum_order"],
            supply_days=round(advised[item["item_id"]]["supply_days"]),
            review_days=item["review_days"],
        )
        value += costs[item["use"]] * stock_by_day(used[item["item_id"]], supplied)
    if not kept:
        return []
    days = ahead.simulated.days
    first = np.unique(np.r_[0, np.flatnonzero(days.day_of_week == 0)])
    low, high = np.quantile(value[:, first], [0.1, 0.9], axis=0)
    return [
        {
            "begins_on": day.date().isoformat(),
            "mean": round(float(mean), 2),
            "p10": round(float(least), 2),
            "p90": round(float(most), 2),
        }
        for day, mean, least, most in zip(
            days[first], value[:, first].mean(axis=0), low, high, strict=True
        )
    ]
