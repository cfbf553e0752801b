"""Backtest commands at work: how is a look back run from a terminal, and what is shown of it?"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pandas as pd
import typer
from rich.console import Console
from rich.progress import BarColumn, Progress, SpinnerColumn, TextColumn, TimeElapsedColumn
from rich.table import Table

from solespan.api.cli.forecasts.forecast_runs import read_day
from solespan.api.cli.opening import serving
from solespan.api.errors import Refused
from solespan.api.services.forecasts.look_back import keep, log_to_look_back_on
from solespan.dashboards.figures.calibration import calibration
from solespan.forecast import Backtest, backtest
from solespan.forecast.backtesting.backtest import usual_days
from solespan.forecast.backtesting.outcomes import log_end
from solespan.forecast.log import WearLog

__all__ = ["run_backtest"]


def run_backtest(first: str | None, every: int, figure: Path | None) -> None:
    """Look back from days since `first`, keep it for the page, print the words, then tables."""
    with serving() as services:
        start = None if first is None else pd.Timestamp(read_day(first, services.clock, "--from"))
        today = services.clock.today()
        with services.database.reading() as session:
            log = log_to_look_back_on(session, today)
        days = _days(log, start, every)
        with _progress() as tell:
            back = backtest(log, days, settings=services.forecaster.settings, progress=tell)
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
    if start is None:
        return usual_days(log, every)
    # a day after the log's end is refused by the look back itself, with the days to choose from
    last = max(start, log_end(log) - pd.Timedelta(days=1))
    return list(pd.date_range(start, last, freq=f"{every}D"))


def _tables(back: Backtest) -> list[Table]:
    scores = Table("forecaster", "forecasts", "days off", "times this model", title="Scores")
    for name, count, days, times in back.scores.itertuples(index=False):
        scores.add_row(name, str(count), f"{days:.1f}", f"{times:.2f}")
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

    try:
        calibration(back.calibration, today=today).write_html(path)
    except OSError as cause:
        raise Refused(
            f"The figure could not be written: {cause.strerror}.",
            where=str(path),
            accepted="a file in a folder that is there",
            remedy="Name another file.",
        ) from cause


@contextmanager
def _progress() -> Iterator[Callable[[str, float], None]]:
    """Show on standard error what is being done, only while it is."""
    columns = (SpinnerColumn(), BarColumn(), TextColumn("{task.description}"), TimeElapsedColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as shown:
        task = shown.add_task("starting", total=1.0)

        def tell(step: str, fraction: float) -> None:
            shown.update(task, description=step, completed=fraction)

        yield tell
