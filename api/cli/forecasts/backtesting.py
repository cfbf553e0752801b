"""Command `backtest`: what would the forecasts have been worth on what has happened since?"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import RenderableType

from solespan.api.cli.files import PIPE, write_file
from solespan.api.cli.grid import Grid, grid
from solespan.api.cli.options import Dask, cluster_at, read_day
from solespan.api.cli.output import Format, Out, OutputFormat, note, show

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
    typer.Option(
        "--figure",
        help="Write forecast chances beside outcomes, as one HTML file; - = standard output.",
    ),
]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command("backtest")(backtest)


def backtest(
    first: From = None,
    every: Every = USUAL_EVERY_DAYS,
    figure: Figure = None,
    dask: Dask = None,
    form: Format = OutputFormat.TABLE,
    out: Out = PIPE,
) -> None:
    """Look back: how good would the forecasts have been on what has happened since?"""
    import pandas as pd

    from solespan.api.cli.forecasts.forecasting import shown_progress
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.forecasts.look_back import PastForecasts
    from solespan.api.services.forecasts.look_back import keep, kept, log_to_look_back_on
    from solespan.forecast import backtest

    with serving() as services:
        today = services.clock.today()
        day = None if first is None else read_day(first, today, "--from", past=True)
        start = None if day is None else pd.Timestamp(day)
        with services.database.reading() as session:
            log = log_to_look_back_on(session, today)
            settings = services.forecaster.settings_on(session)
        days = _days(log, start, every)
        with shown_progress() as tell, cluster_at(dask) as cluster:
            back = backtest(log, days, settings=settings, progress=tell, runner=cluster)
        with services.database.writing() as session:
            keep(session, back, days, today)
        with services.database.reading() as session:
            found = kept(session)

    def tables() -> Iterator[RenderableType]:
        yield from back.sentences()
        for table in _tables(back):
            yield ""
            yield table

    if figure != PIPE:
        show(found, PastForecasts, form=form, out=out, table=tables, rows="scores")
    if figure is not None:
        _write(back, figure, pd.Timestamp(today))


def _days(log: WearLog, start: pd.Timestamp | None, every: int) -> list[pd.Timestamp]:
    import pandas as pd

    from solespan.forecast.backtesting.backtest import usual_days
    from solespan.forecast.backtesting.outcomes import log_end

    if start is None:
        return usual_days(log, every)
    # a day after the log's end is refused by the look back itself, with the days to choose from
    last = max(start, log_end(log) - pd.Timedelta(days=1))
    return list(pd.date_range(start, last, freq=f"{every}D"))


def _tables(back: Backtest) -> list[Grid]:
    import pandas as pd

    scores = [
        (
            name,
            count,
            None if pd.isna(days) else f"{days:.1f}",
            None if pd.isna(times) else f"{times:.2f}",
        )
        for name, count, days, times in back.scores.itertuples(index=False)
    ]
    bands = [
        (band, count, f"{100 * said:.0f} %", f"{100 * happened:.0f} %")
        for band, count, said, happened in back.bands.itertuples(index=False)
    ]
    chances = [
        (
            f"{days} days",
            count,
            f"{100 * said:.0f} %",
            f"{100 * happened:.0f} %",
            f"{100 * low:.0f} to {100 * high:.0f} %",
        )
        for days, count, said, happened, low, high in back.calibration.itertuples(index=False)
    ]
    within = f"Due within {back.settings.sound_days} days"
    tables = (
        grid(("forecaster", "forecasts", "days off", "times this model"), scores, title="Scores"),
        grid(("band", "forecasts", "said", "happened"), bands, title=within),
        grid(
            ("within", "forecasts", "said", "happened", "80 % interval"),
            chances,
            title="Chances said",
        ),
    )
    return [table for table in tables if table.rows]


def _write(back: Backtest, path: Path, today: pd.Timestamp) -> None:
    from solespan.dashboards.figures.calibration import calibration

    write_file(path, str(calibration(back.calibration, today=today).plotly().to_html()), "--figure")
    if path != PIPE:
        note(f"Figure written to {path}.")
