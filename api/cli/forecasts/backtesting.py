"""Backtesting commands.

What does `solespan backtest` do: look back over what was logged, and say what it was worth?
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

__all__ = ["register"]

USUAL_EVERY_DAYS = 91

From = Annotated[
    str | None,
    typer.Option("--from", help="First day to look back from, YYYY-MM-DD. Default: a year in."),
]
Every = Annotated[
    int, typer.Option("--every", min=7, max=3660, help="Days between the days to look back from.")
]
Figure = Annotated[
    Path | None,
    typer.Option("--figure", help="Write forecast chances beside outcomes, as one HTML file."),
]


def register(app: typer.Typer) -> None:
    """Add the command."""

    @app.command("backtest")
    def backtest(
        first: From = None, every: Every = USUAL_EVERY_DAYS, figure: Figure = None
    ) -> None:
        """Look back: how good would the forecasts have been on what has happened since?"""
        from solespan.api.cli.forecasts.backtest_runs import run_backtest

        run_backtest(first, every, figure)
