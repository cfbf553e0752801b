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
from solespan.api.services.bench.stock_advice import ItemAdvice, advise_items, read_stock
from solespan.api.services.bench.workload import (
    YearAhead,
    open_by_day,
    workload_body,
    year_ahead,
)
from solespan.api.storage.session import Database
from solespan.forecast.bench.stock_days import stock_by_day
from solespan.forecast.panel.wearer_parts import Runner
from solespan.forecast.workload import share_of_weeks_over

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
            "leather": _leather(database, ahead, costs) if costs else [],
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


def _stock_of(one: ItemAdvice, ahead: YearAhead) -> np.ndarray:
    use, coming = one.use.copy(), np.zeros(one.use.shape[1])
    use[:, 0] += one.in_hand
    first = ahead.simulated.days[0].date()
    for expected_on, left in one.on_order:
        day = max((expected_on - first).days, 0)
        if day < len(coming):
            coming[day] += left
    return stock_by_day(use, one.item["quantity"], coming, one.told.reorder_point, one.supply)


def _leather(database: Database, ahead: YearAhead, costs: dict[str, int]) -> list[dict[str, Any]]:
    """Money tied up in leather by week, each item ordered as it is advised."""
    with database.reading() as session:
        rows = read_stock(session)
    kept = [one for one in advise_items(rows, ahead) if one.item["use"] in costs]
    if not kept:
        return []
    value = np.zeros(kept[0].use.shape)
    for one in kept:
        value += costs[one.item["use"]] * _stock_of(one, ahead)
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
