"""Commands `fit` and `forecast`: how is the model fitted, and what is due when, and why?"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import Console, RenderableType
from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn

from solespan.api.cli.files import PIPE, write_file
from solespan.api.cli.options import Dask, Wearer, cluster_at, read_day
from solespan.api.cli.output import Format, Out, OutputFormat, note, page_of, show
from solespan.api.errors import NothingForecast, Refused

if TYPE_CHECKING:
    import pandas as pd

    from solespan.api.services.forecasts import forecasting as service
    from solespan.api.services.forecasts.dask_runner import DaskRunner
    from solespan.api.wiring import Services
    from solespan.forecast import WearFit
    from solespan.forecast.dates.models import DueModel
    from solespan.forecast.log import WearLog

__all__ = ["register", "shown_progress"]

AsOf = Annotated[
    str | None, typer.Option("--as-of", help="Day to look from, YYYY-MM-DD. Default today.")
]
Explained = Annotated[
    str | None, typer.Option("--explain", metavar="PAIR", help="Tell what drives this pair's date.")
]
Model = Annotated[
    str | None,
    typer.Option(
        "--model",
        metavar="NAME",
        help="Judge by another wear model, for example renewal; a wrong name lists them.",
    ),
]
Kept = Annotated[
    list[str] | None,
    typer.Option(
        "--set",
        metavar="NAME=VALUE",
        help="Keep a choice of this shop from now on: risk, sound_chance, sound_days, "
        "book_in_days or stop_chance; no value = the default again.",
    ),
]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command("fit")(fit)
    app.command("forecast")(forecast)


def fit(as_of: AsOf = None, dask: Dask = None) -> None:
    """Fit the wear model to everything logged, and bring every forecast up to date.

    A stopped fit goes on from its last round when run again.
    """
    import pandas as pd

    from solespan.api.cli.opening import serving
    from solespan.api.storage.rack.frames import load_wear_log
    from solespan.forecast import diagnose

    with serving() as services:
        day = read_day(as_of, services.clock.today(), "--as-of", past=True)
        today = day == services.clock.today()
        with shown_progress() as tell, cluster_at(dask) as cluster:
            if today:
                with _stoppable():
                    fitted = services.fitter.refit(day, tell, cluster)
                count = services.forecaster.update_behind(tell, everyone=True, runner=cluster)
            else:
                fitted = services.fitter.fit_without_storing(day, tell, cluster)
        with services.database.reading() as session:
            log = load_wear_log(session)
    typer.echo(fitted.summary())
    typer.echo("")
    typer.echo(diagnose(fitted, log, pd.Timestamp(day)).summary())
    typer.echo("")
    typer.echo(
        f"Stored; the forecasts of {count} wearers are up to date."
        if today
        else f"A look back to {day}; it was not stored."
    )


def forecast(
    as_of: AsOf = None,
    wearer: Wearer = None,
    explain: Explained = None,
    model: Model = None,
    keep: Kept = None,
    dask: Dask = None,
    form: Format = OutputFormat.TABLE,
    out: Out = PIPE,
) -> None:
    """Forecast when each pair needs a new sole; fit first if that is due."""
    other = None if model is None else _other_model(model, explain)
    if keep:
        _keep(keep)
    if explain is not None:
        _explain(explain, as_of, form, out)
    else:
        _show_forecast(as_of, wearer, other, dask, form, out)


def _other_model(name: str, explain: str | None) -> DueModel | None:
    """Return the wear model of that name; None = the one that the service forecasts from."""
    from solespan.forecast.dates.models import MODELS, NESTED

    if name not in MODELS:
        raise Refused(
            f"{name!r} is no wear model.",
            where="--model",
            accepted=", ".join(MODELS),
            remedy=f"Write for example --model {list(MODELS)[-1]}",
        )
    if name == NESTED.name:
        return None
    if explain is not None:
        raise Refused(
            f"The {name} model explains no date.",
            where="--model",
            accepted=f"{NESTED.name}, where --explain is given",
            remedy="Leave out --model or --explain",
        )
    return MODELS[name]


def _keep(pairs: list[str]) -> None:
    """Keep choices of the shop; forecasts follow at their next update."""
    from solespan.api.cli.messages import read_message
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.forecasts.choices import ForecastChoices
    from solespan.api.services.forecasts.shop_settings import (
        change_forecast_choices,
        read_forecast_choices,
    )

    given = {name.strip(): value.strip() for name, _, value in (p.partition("=") for p in pairs)}
    with serving("forecast --set") as services, services.database.writing() as session:
        known, version = read_forecast_choices(session)
        values = known.model_dump(exclude_unset=True) | given
        chosen = {name: value for name, value in values.items() if value != ""}
        choices = read_message(lambda: ForecastChoices.model_validate(chosen))
        change_forecast_choices(session, choices, frozenset({version}))
    note(f"Kept: {', '.join(pairs)}.")


def _explain(pair: str, as_of: str | None, form: OutputFormat, out: Path) -> None:
    """Tell in sentences and tables what drives one pair's date."""
    import pandas as pd

    from solespan.api.cli.forecasts.due_table import explanation_tables
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.forecasts.forecasts import PairForecast
    from solespan.api.services.forecasts.forecast_file import explanation_body, forecast_rows
    from solespan.api.services.rack.pair_names import pair_named
    from solespan.dashboards.wears_left import wears_left
    from solespan.forecast import explain

    with serving() as services:
        day = read_day(as_of, services.clock.today(), "--as-of", past=True)
        with services.database.reading() as session:
            pair = pair_named(session, pair)
        with shown_progress() as tell:
            fitted, log = _prepared(services, day, tell)
        if pair not in set(log.soles["pair_id"]):
            raise NothingForecast(
                f"Up to {day} the pair {pair} had no sole.",
                where="--explain",
                remedy="Add its sole.",
            )
        with services.database.reading() as session:
            settings = services.forecaster.settings_on(session)
        told = explain(fitted, log, pair, pd.Timestamp(day), settings)
        frame = _frame(services, fitted, log, day, None)
    rows = forecast_rows(frame[frame["pair_id"] == pair])

    main = [row for row in rows if (row["foot"], row["point"]) == ("pair", "ball")]

    def tables() -> Iterator[RenderableType]:
        yield from told.sentences
        yield from (f"{said[0].upper()}{said[1:]}." for said in map(wears_left, main) if said)
        for table in explanation_tables(told):
            yield ""
            yield table

    body = {"pair_id": pair, "state": "ready", "rows": rows, **explanation_body(told)}
    show(body, PairForecast, form=form, out=out, table=tables, rows="drivers")


def _show_forecast(
    as_of: str | None,
    wearer: str | None,
    other: DueModel | None,
    dask: str | None,
    form: OutputFormat,
    out: Path,
) -> None:
    """Fit if that is due, then write the due list, or all rows as JSON or as the forecast file."""
    from solespan.api.cli.forecasts.due_table import due_table
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.forecasts.forecasts import ForecastPage
    from solespan.api.services.forecasts.forecast_file import forecast_csv, forecast_rows
    from solespan.api.services.planning.rack import known_wearer

    with serving() as services:
        day = read_day(as_of, services.clock.today(), "--as-of", past=True)
        if wearer is not None:
            with services.database.reading() as session:
                known_wearer(session, wearer)
        with shown_progress() as tell, cluster_at(dask) as cluster:
            if other is None:
                fitted, log = _prepared(services, day, tell, cluster)
                log = log if wearer is None else log.of_wearers([wearer])
                frame = _frame(services, fitted, log, day, wearer)
            else:
                tell(f"judging by the {other.name} model", 0.0)
                log, frame = _judged_by(services, other, day, wearer)
    if form == OutputFormat.CSV:
        write_file(out, forecast_csv(frame))
        if out != PIPE:
            note(f"{len(frame)} rows written to {out}.")
        return
    by_day = frame.sort_values(["send_by", "pair_id", "foot", "point"], na_position="last")
    rows = forecast_rows(by_day) if form == OutputFormat.JSON else []
    show(
        page_of(ForecastPage, rows),
        ForecastPage,
        form=form,
        out=out,
        table=lambda: [due_table(frame, log, day)],
    )


@contextmanager
def _stoppable() -> Iterator[None]:
    """Say, when a fit is stopped by hand, that nothing is lost."""
    try:
        yield
    except KeyboardInterrupt:
        typer.echo("Stopped. The rounds done are kept: solespan fit goes on from there.", err=True)
        raise typer.Exit(130) from None


@contextmanager
def shown_progress() -> Iterator[service.Progress]:
    """Show on standard error what is being done, only while it is."""
    columns = (SpinnerColumn(), TextColumn("{task.description}"), TimeElapsedColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as shown:
        task = shown.add_task("starting", total=1.0)

        def tell(step: str, fraction: float) -> None:
            shown.update(task, description=step, completed=fraction)

        yield tell


def _prepared(
    services: Services, day: date, tell: service.Progress, cluster: DaskRunner | None = None
) -> tuple[WearFit, WearLog]:
    """Return the fit for that day and what was known then; today's are stored."""
    log = _log_until(services, day)
    if day != services.clock.today():
        return services.fitter.fit_without_storing(day, tell, cluster), log
    stale = services.fitter.is_stale(at_once=True)
    if stale:
        services.fitter.refit(day, tell, cluster)
    services.forecaster.update_behind(tell, everyone=stale, runner=cluster)
    with services.database.reading() as session:
        stored = services.forecaster.newest_fit(session)
    if stored is None:
        raise NothingForecast("The fit is gone.", remedy="Run: solespan fit")
    return stored.fit, log


def _log_until(services: Services, day: date) -> WearLog:
    import pandas as pd

    from solespan.api.storage.rack.frames import load_wear_log

    with services.database.reading() as session:
        log = load_wear_log(session).until(pd.Timestamp(day))
    if log.soles.empty:
        raise NothingForecast(
            f"Nothing can be forecast: up to {day} no pair had a sole.",
            where="pairs and soles",
            accepted="at least one pair with one sole",
            remedy="Import a folder of logs: solespan import FOLDER; or see: solespan demo",
        )
    return log


def _judged_by(
    services: Services, model: DueModel, day: date, wearer: str | None
) -> tuple[WearLog, pd.DataFrame]:
    """Judge all pairs by another wear model; nothing is stored."""
    import pandas as pd

    log, at = _log_until(services, day), pd.Timestamp(day)
    with services.database.reading() as session:
        settings = services.forecaster.settings_on(session)
    frame = model.forecast(log, at, settings, model.fit(log, at, None))
    if wearer is not None:
        log = log.of_wearers([wearer])
    return log, frame[frame["pair_id"].isin(log.pairs["pair_id"])]


def _frame(
    services: Services, fitted: WearFit, log: WearLog, day: date, wearer: str | None
) -> pd.DataFrame:
    from solespan.api.storage.forecasts.forecasts import load_forecasts

    with services.database.reading() as session:
        if day != services.clock.today():
            settings = services.forecaster.settings_on(session)
            return services.forecaster.frame_of(fitted, log, day, settings)
        return load_forecasts(session, None if wearer is None else [wearer])
