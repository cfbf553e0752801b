"""Bench commands at work.

What is shown in a terminal of the work to come and of the bench's plan?
"""

from __future__ import annotations

import csv as csv_files
import sys
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd
import typer
from rich.console import Console
from rich.table import Table

from solespan.api.cli.opening import opened
from solespan.api.clock import Clock
from solespan.api.errors import Refused
from solespan.api.services.bench.bench_plan import make_plan
from solespan.api.services.bench.bench_settings import read_bench_settings
from solespan.api.services.bench.workload import year_ahead
from solespan.dashboards.pages.bench.workload import come_sentence
from solespan.forecast.workload import QUANTILES, summarise

__all__ = ["run_bench_plan", "run_workload"]

_NAMES = {"jobs": "jobs", "bench_hours": "bench hours", "revenue_minor": "revenue"}


def run_workload(months: int, by: str, csv: Path | None) -> None:
    """Show the work to come, or write it."""
    if by not in ("week", "month"):
        raise Refused(
            f"{by!r} is no period.",
            where="--by",
            accepted="week or month",
            remedy="Write for example --by month",
        )
    with opened() as (database, _):
        ahead = year_ahead(database, Clock().today(), months)
    periods = summarise(ahead.simulated, ahead.by_day, by)
    total = summarise(ahead.simulated, ahead.by_day, "total")
    if csv is not None:
        _write(pd.concat([total, periods], ignore_index=True), csv)
    if csv == Path("-"):
        return
    currency = ahead.books.settings.currency
    console = Console()
    for measure, name in _NAMES.items():
        table = Table(title=f"{name}, by {by}" + _unit(measure, currency), title_justify="left")
        for heading in (f"{by} from", "expected", "50 %", "80 %", "95 %"):
            table.add_column(heading, justify="left" if heading.endswith("from") else "right")
        for row in periods[periods["measure"] == measure].to_dict("records"):
            table.add_row(f"{row['begins_on']:%Y-%m-%d}", *_cells(row, measure))
        whole = total[total["measure"] == measure].to_dict("records")[0]
        table.add_section()
        table.add_row(f"{months} months", *_cells(whole, measure))
        console.print(table)
    habits = ahead.books.habits
    console.print(
        f"{ahead.simulated.counts.shape[0]} simulated years. "
        f"{come_sentence(habits.come, habits.n_outcomes)} It comes {habits.median_delay_days:.0f} "
        "days after it is due, in the middle. The first and the last period may be cut. "
        "Materials are in the file of --csv.",
        highlight=False,
    )


def _unit(measure: str, currency: str) -> str:
    return f" ({currency})" if measure == "revenue_minor" else ""


def _cells(row: Mapping[Any, Any], measure: str) -> list[str]:
    scale = 100.0 if measure == "revenue_minor" else 1.0

    def span(low: str, high: str) -> str:
        return f"{row[low] / scale:,.0f} to {row[high] / scale:,.0f}"

    return [
        f"{row['mean'] / scale:,.0f}",
        span("p25", "p75"),
        span("p10", "p90"),
        span("p025", "p975"),
    ]


def _write(frame: pd.DataFrame, path: Path) -> None:
    columns = ["period", "begins_on", "measure", "mean", *QUANTILES]
    rows = frame.assign(begins_on=frame["begins_on"].dt.strftime("%Y-%m-%d"))[columns].round(3)
    if path == Path("-"):
        writer = csv_files.writer(sys.stdout, lineterminator="\n")
        writer.writerows([columns, *rows.itertuples(index=False)])
        return
    try:
        rows.to_csv(path, index=False)
    except OSError as cause:
        raise Refused(
            f"{path} cannot be written: {cause.strerror}.",
            where="--csv",
            remedy="Name a file in a folder that is there and may be written.",
        ) from cause
    typer.echo(f"{len(rows)} rows written to {path}")


def run_bench_plan(
    months: int, benches: int | None, price_factor: float, demand_factor: float
) -> None:
    """Make and keep a plan, and show the ways to run the year side by side."""
    with opened() as (database, _):
        with database.reading() as session:
            hours = read_bench_settings(session)[0].bench_hours()
        asked = benches is not None or price_factor != 1.0 or demand_factor != 1.0
        tried = replace(hours, benches=benches or hours.benches) if asked else None
        plan = make_plan(
            database,
            Clock().today(),
            months=months,
            tried=tried,
            price_factor=price_factor,
            demand_factor=demand_factor,
        )
    table = Table("", title="mean (80 % interval) over simulated years", title_justify="left")
    for scenario in plan["scenarios"]:
        table.add_column(scenario["name"], justify="right")
    for name, words, scale in (
        ("jobs", "jobs", 1),
        ("worn_past_limit", "brought after their limit", 1),
        ("longest_wait_days", "longest wait (days)", 1),
        ("wait_days_p90", "nine in ten wait less than (days)", 1),
        ("idle_hours", "idle hours", 1),
        ("worked_hours", "hours worked", 1),
        ("revenue_minor", "revenue", 100),
    ):
        cells = [
            f"{s[name]['mean'] / scale:,.0f} "
            f"({s[name]['p10'] / scale:,.0f} to {s[name]['p90'] / scale:,.0f})"
            for s in plan["scenarios"]
        ]
        table.add_row(words, *cells)
    console = Console()
    console.print(table)
    leads = Table("week from", "wait, median", "wait, 9 in 10", "back after, 80 %")
    for row in plan["lead_times"][::4]:
        leads.add_row(
            row["week_begins_on"],
            f"{row['wait_days_p50']:.0f} d",
            f"{row['wait_days_p90']:.0f} d",
            f"{row['lead_days_p10']:.0f} to {row['lead_days_p90']:.0f} d",
        )
    console.print(leads)
    console.print(f"The plan is kept: {len(plan['pairs'])} pairs with a day to ask, book, expect.")
