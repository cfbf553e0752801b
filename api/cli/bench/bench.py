"""Commands of the bench's year: `workload` and `bench-plan`."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Annotated, Any

import typer
from rich.console import RenderableType

from solespan.api.cli.files import PIPE
from solespan.api.cli.grid import grid
from solespan.api.cli.options import Dask, cluster_at
from solespan.api.cli.output import Format, Out, OutputFormat, show
from solespan.api.clock import Clock
from solespan.api.errors import Refused

if TYPE_CHECKING:
    from solespan.api.services.bench.workload import YearAhead

__all__ = ["register"]

Months = Annotated[int, typer.Option("--months", min=1, max=36, help="How many months ahead.")]
By = Annotated[str, typer.Option("--by", help="week or month.")]
Benches = Annotated[
    int | None, typer.Option("--benches", min=1, max=50, help="Compare with so many benches.")
]
Price = Annotated[
    float, typer.Option("--price-factor", min=0.01, max=10, help="Compare prices: factor.")
]
Demand = Annotated[
    float,
    typer.Option("--demand-factor", min=0.01, max=1, help="Share of jobs still got at it."),
]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command("workload")(workload)
    app.command("bench-plan")(bench_plan)


_NAMES = {
    "jobs": "jobs",
    "bench_hours": "bench hours",
    "open_hours": "open hours",
    "revenue_minor": "revenue",
}


def workload(
    months: Months = 12,
    by: By = "month",
    benches: Benches = None,
    dask: Dask = None,
    form: Format = OutputFormat.TABLE,
    out: Out = PIPE,
) -> None:
    """Show jobs, bench hours, revenue and materials to come, with 50, 80 and 95 % intervals."""
    from solespan.api.cli.opening import opened
    from solespan.api.schemas.bench.workload import Workload
    from solespan.api.services.bench.year_report import year_report

    if by not in ("week", "month"):
        raise Refused(
            f"{by!r} is no period.",
            where="--by",
            accepted="week or month",
            remedy="Write for example --by month",
        )
    with opened() as (database, _), cluster_at(dask) as cluster:
        report = year_report(
            database, Clock().today(), months=months, by=by, benches=benches, runner=cluster
        )
    body = report.body
    show(
        body,
        Workload,
        form=form,
        out=out,
        table=lambda: _workload_tables(report.ahead, body, by),
        rows="periods",
    )


def _workload_tables(
    ahead: YearAhead, body: Mapping[str, Any], by: str
) -> Iterator[RenderableType]:
    from solespan.dashboards.pages.bench.bench_choices import choice_words, over_words
    from solespan.dashboards.pages.bench.workload import come_sentence
    from solespan.dashboards.pages.bench.year_words import looks_words, year_words

    habits = ahead.books.habits
    for measure, name in _NAMES.items():
        headings = (f"{by} from", "expected", "50 %", "80 %", "95 %")
        rows = [
            (row["begins_on"], *_cells(row, measure))
            for row in body["periods"]
            if row["measure"] == measure
        ]
        whole = next(row for row in body["total"] if row["measure"] == measure)
        rows.append((f"{body['months']} months", *_cells(whole, measure)))
        title = f"{name}, by {by}{_unit(measure, body['currency'])}"
        yield grid(headings, rows, title=title, right=headings[1:])
    yield f"{year_words(body['year'])} {looks_words(body['past_years'])}"
    yield " ".join([over_words(body["weeks_over"]), *choice_words(body["benches"])])
    yield (
        f"{body['years']} simulated years. {come_sentence(habits.come, habits.n_outcomes)} "
        f"It comes {habits.median_delay_days:.0f} days after it is due, in the middle. "
        "The first and the last period may be cut. --format csv has the materials too."
    )


def bench_plan(
    months: Months = 12,
    benches: Benches = None,
    price_factor: Price = 1.0,
    demand_factor: Demand = 1.0,
    dask: Dask = None,
    form: Format = OutputFormat.TABLE,
    out: Out = PIPE,
) -> None:
    """Simulate the bench's year with and without levelling, and keep the plan."""
    from solespan.api.cli.opening import opened
    from solespan.api.schemas.bench.workload import Plan
    from solespan.api.services.bench.bench_plan import make_plan
    from solespan.api.services.bench.bench_settings import read_bench_settings

    with opened() as (database, _), cluster_at(dask) as cluster:
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
            runner=cluster,
        )
    show(plan, Plan, form=form, out=out, table=lambda: _plan_tables(plan), rows="lead_times")


def _plan_tables(plan: Mapping[str, Any]) -> Iterator[RenderableType]:
    from solespan.dashboards.pages.bench.workload import levelling_words

    rows = [
        (
            words,
            *(
                f"{s[name]['mean'] / scale:,.0f} "
                f"({s[name]['p10'] / scale:,.0f} to {s[name]['p90'] / scale:,.0f})"
                for s in plan["scenarios"]
            ),
        )
        for name, words, scale in _MEASURES
    ]
    names = [scenario["name"] for scenario in plan["scenarios"]]
    title = "mean (80 % interval) over simulated years"
    yield grid(("", *names), rows, title=title, right=names)
    leads = [
        (
            row["week_begins_on"],
            f"{row['wait_days_p50']:.0f} d",
            f"{row['wait_days_p90']:.0f} d",
            f"{row['lead_days_p10']:.0f} to {row['lead_days_p90']:.0f} d",
        )
        for row in plan["lead_times"][::4]
    ]
    yield grid(("week from", "wait, median", "wait, 9 in 10", "back after, 80 %"), leads)
    yield levelling_words(plan["levelling"])
    yield f"The plan is kept: {len(plan['pairs'])} pairs with a day to ask, book, expect."


_MEASURES = (
    ("jobs", "jobs", 1),
    ("brought_forward", "of later years, could come sooner", 1),
    ("worn_past_limit", "brought after their limit", 1),
    ("longest_wait_days", "longest wait (days)", 1),
    ("wait_days_p90", "nine in ten wait less than (days)", 1),
    ("idle_hours", "idle hours", 1),
    ("worked_hours", "hours worked", 1),
    ("revenue_minor", "revenue", 100),
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
