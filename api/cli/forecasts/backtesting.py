"""Command `backtest`: what would the forecasts have been worth on what has happened since?"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import Console
from rich.table import Table

if TYPE_CHECKING:
    import pandas as pd

    from solespan.forecast import Backtest
    from solespan.forecast.log import WearLog

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
    """Add the commands."""
    app.command("backtest")(backtest)


def backtest(first: From = None, every: Every = USUAL_EVERY_DAYS, figure: Figure = None) -> None:
    """Look back: how good would the forecasts have been on what has happened since?"""
    import pandas as pd

    from solespan.api.cli.forecasts.forecasting import read_day, shown_progress
    from solespan.api.cli.opening import serving
    from solespan.api.services.forecasts.look_back import keep, log_to_look_back_on
    from solespan.forecast import backtest

    with serving() as services:
        start = None if first is None else pd.Timestamp(read_day(first, services.clock, "--from"))
        today = services.clock.today()
        with services.database.reading() as session:
            log = log_to_look_back_on(session, today)
            settings = services.forecaster.settings_on(session)
        days = _days(log, start, every)
        with shown_progress() as tell:
            back = backtest(log, days, settings=settings, progress=tell)
        with services.database.writing() as session:
            keep(session, back, days, today)
    console = Console()
    for sentence in back.sentences():
        console.print(sentence, markup=False, highlight=False)
    for table in _tables(back):
        console.print()
        console.print(table)
    if figure is not None:
        _write(back, figure, pd.Timestamp(today))
        typer.echo(f"Figure written to {figure}")


def _days(log: WearLog, start: pd.Timestamp | None, every: int) -> list[pd.Timestamp]:
    import pandas as pd

    from solespan.forecast.backtesting.backtest import usual_days
    from solespan.forecast.backtesting.outcomes import log_end

    if start is None:
        return usual_days(log, every)
    # a day after the log's end is refused by the look back itself, with the days to choose from
    last = max(start, log_end(log) - pd.Timedelta(days=1))
    return list(pd.date_range(start, last, freq=f"{every}D"))


def _tables(back: Backtest) -> list[Table]:
    import pandas as pd

    scores = Table("forecaster", "forecasts", "days off", "times this model", title="Scores")
    for name, count, days, times in back.scores.itertuples(index=False):
        off = "-" if pd.isna(days) else f"{days:.1f}"
        scores.add_row(name, str(count), off, "-" if pd.isna(times) else f"{times:.2f}")
    bands = Table(
        "band", "forecasts", "said", "happened", title=f"Due within {back.settings.sound_days} days"
    )
    for band, count, said, happened in back.bands.itertuples(index=False):
        bands.add_row(band, str(count), f"{100 * said:.0f} %", f"{100 * happened:.0f} %")
    chances = Table(
        "within", "forecasts", "said", "happened", "80 % interval", title="Chances said"
    )
    for days, count, said, happened, low, high in back.calibration.itertuples(index=False):
        chances.add_row(
            f"{days} days",
            str(count),
            f"{100 * said:.0f} %",
            f"{100 * happened:.0f} %",
            f"{100 * low:.0f} to {100 * high:.0f} %",
        )
    return [table for table in (scores, bands, chances) if table.row_count]


def _write(back: Backtest, path: Path, today: pd.Timestamp) -> None:
    from solespan.api.cli.files import writing_to
    from solespan.dashboards.figures.calibration import calibration

    with writing_to(path, "--figure"):
        calibration(back.calibration, today=today).write_html(path)
