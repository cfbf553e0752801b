"""Command register.

Which commands does `solespan` have, and what does a person see when one cannot do its work?

Each module of `MODULES` adds its commands by `register(app)`. They import what they need when they
run, so that help is there at once.
"""

from __future__ import annotations

import logging
import os
import sys
from importlib.metadata import version
from typing import Annotated

import typer

from solespan.api.cli import copying, demo, migrating, serve, work
from solespan.api.cli.accounts import accounts, customers, settings
from solespan.api.cli.accounts import lists as account_lists
from solespan.api.cli.bench import bench, orders, purchases, reception, stock
from solespan.api.cli.bench import lists as bench_lists
from solespan.api.cli.forecasts import backtesting, forecasting
from solespan.api.cli.importing import exporting, importing
from solespan.api.cli.importing import lists as import_lists
from solespan.api.cli.notices import hooks, notices
from solespan.api.cli.notices import lists as notice_lists
from solespan.api.cli.operation import backups, doctor
from solespan.api.cli.planning import lists as planning_lists
from solespan.api.cli.planning import planning, upkeep
from solespan.api.cli.rack import log, pair_steps, pairs, record_changes, records, wearers
from solespan.api.errors import SolespanError

__all__ = ["build_app", "main", "tell"]

MODULES = (
    demo,
    log,
    wearers,
    pairs,
    pair_steps,
    record_changes,
    records,
    bench_lists,
    notice_lists,
    planning_lists,
    account_lists,
    import_lists,
    importing,
    exporting,
    forecasting,
    bench,
    orders,
    reception,
    purchases,
    stock,
    backtesting,
    planning,
    upkeep,
    notices,
    hooks,
    work,
    accounts,
    customers,
    settings,
    serve,
    migrating,
    copying,
    backups,
    doctor,
)
MISTAKE = 2


def build_app() -> typer.Typer:
    """Gather the commands that are there."""
    app = typer.Typer(
        name="solespan",
        help="When will each pair need a new sole, and which foot goes first?",
        no_args_is_help=True,
        pretty_exceptions_enable=False,
        context_settings={"help_option_names": ["-h", "--help"]},
    )

    @app.callback()
    def _solespan(
        _shown: Annotated[
            bool,
            typer.Option(
                "--version", help="Show the version and end.", is_eager=True, callback=_tell_version
            ),
        ] = False,
    ) -> None:
        """When will each pair need a new sole, and which foot goes first?"""

    for module in MODULES:
        module.register(app)
    return app


def _tell_version(asked: bool) -> None:
    if asked:
        typer.echo(f"solespan {version('solespan')}")
        raise typer.Exit


def main() -> None:
    """Run the command of the command line; a mistake ends in a sentence and exit code 2."""
    # Before numpy is there: the fit has threads of its own, and OpenBLAS's would only wait beside.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # Without a handler Python prints the library's log to the terminal; `serve` adds its own.
    logging.getLogger("solespan").addHandler(logging.NullHandler())
    try:
        build_app()()
    except SolespanError as error:
        tell(error.lines())
        raise SystemExit(MISTAKE) from None
    except Exception as error:
        if not _is_of_forecast(error):
            raise
        tell([str(error)])
        raise SystemExit(MISTAKE) from None


def tell(lines: list[str]) -> None:
    """Print an error to standard error: the first line is what is wrong, the rest what helps."""
    print(f"solespan: {lines[0]}", file=sys.stderr)  # noqa: T201 - the terminal is the place
    for line in lines[1:]:
        print(f"  {line}", file=sys.stderr)  # noqa: T201


def _is_of_forecast(error: Exception) -> bool:
    # Importing `forecast` costs a second, so it is looked at only when something went wrong.
    from solespan.forecast.errors import ForecastError

    return isinstance(error, ForecastError)
