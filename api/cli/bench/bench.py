"""Bench commands: what do `solespan workload` and `solespan bench-plan` do?"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

__all__ = ["register"]

Months = Annotated[int, typer.Option("--months", min=1, max=36, help="How many months ahead.")]
By = Annotated[str, typer.Option("--by", help="week or month.")]
Csv = Annotated[
    Path | None, typer.Option("--csv", help="Write the periods here; - = standard output.")
]
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

    @app.command("workload")
    def workload(months: Months = 12, by: By = "month", csv: Csv = None) -> None:
        """Show jobs, bench hours, revenue and materials to come, with 50, 80 and 95 % intervals."""
        from solespan.api.cli.bench.bench_runs import run_workload

        run_workload(months, by, csv)

    @app.command("bench-plan")
    def bench_plan(
        months: Months = 12,
        benches: Benches = None,
        price_factor: Price = 1.0,
        demand_factor: Demand = 1.0,
    ) -> None:
        """Simulate the bench's year with and without levelling, and keep the plan."""
        from solespan.api.cli.bench.bench_runs import run_bench_plan

        run_bench_plan(months, benches, price_factor, demand_factor)
