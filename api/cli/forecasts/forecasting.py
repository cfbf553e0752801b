"""Forecasting commands: what do `solespan fit` and `solespan forecast` do?"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

__all__ = ["register"]

AsOf = Annotated[
    str | None, typer.Option("--as-of", help="Day to look from, YYYY-MM-DD. Default today.")
]
Csv = Annotated[
    Path | None,
    typer.Option("--csv", help="Write the forecast file here; - = standard output."),
]
Wearer = Annotated[str | None, typer.Option("--wearer", help="Only this wearer's pairs.")]
Dask = Annotated[
    str | None,
    typer.Option("--dask", metavar="ADDRESS", help="Split the fit over this Dask scheduler."),
]
Explained = Annotated[
    str | None, typer.Option("--explain", metavar="PAIR", help="Tell what drives this pair's date.")
]


def register(app: typer.Typer) -> None:
    """Add the commands."""

    @app.command("fit")
    def fit(as_of: AsOf = None, dask: Dask = None) -> None:
        """Fit the wear model to everything logged, and bring every forecast up to date.

        A stopped fit goes on from its last round when run again.
        """
        from solespan.api.cli.forecasts.forecast_runs import run_fit

        run_fit(as_of, dask)

    @app.command("forecast")
    def forecast(
        as_of: AsOf = None, csv: Csv = None, wearer: Wearer = None, explain: Explained = None
    ) -> None:
        """Forecast when each pair needs a new sole; fit first if that is due."""
        from solespan.api.cli.forecasts.forecast_runs import run_explain, run_forecast

        if explain is not None:
            run_explain(explain, as_of)
        else:
            run_forecast(as_of, csv, wearer)
