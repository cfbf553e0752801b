"""Demo command.

What does `solespan demo` show: two example racks, from a folder of logs to resole dates?

Reads the committed example folders of `synthetic_data`; beside it only
`api.services.importing.example_rack` does.
"""

from __future__ import annotations

from contextlib import ExitStack
from datetime import date
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    import pandas as pd
    from rich.console import Console

    from solespan.api.storage.session import Database
    from solespan.forecast.log import WearLog

__all__ = ["register"]

EXAMPLES = ("one_collector", "small_shop")
AS_OF = date(2026, 11, 23)  # the examples' last day
COLLECTOR = "C-"  # what the collector's identifiers begin with
DATABASE = "solespan-demo.sqlite3"
REPORT = "solespan-report.html"
PATHS_DRAWN = 6
ROWS_SHOWN = 25

Folder = Annotated[
    Path, typer.Option("--folder", help="Where the demo's database and report are written.")
]


def register(app: typer.Typer) -> None:
    """Add the command."""

    @app.command("demo")
    def demo(folder: Folder = Path()) -> None:
        """Load two example racks, fit, forecast, print the due list and write a report."""
        run_demo(folder)


def run_demo(folder: Path) -> None:
    """Go through the main job on the shipped examples; a second run changes nothing."""
    import pandas as pd

    from solespan.api.cli.forecasts.due_table import due_table
    from solespan.api.cli.output import terminal
    from solespan.api.storage.forecasts.forecast_writes import replace_forecasts
    from solespan.api.storage.forecasts.forecasts import save_fit
    from solespan.api.storage.rack.frames import load_wear_log
    from solespan.api.storage.schema import prepare
    from solespan.api.storage.session import open_database
    from solespan.dashboards.report import report_html
    from solespan.forecast import WearModel, forecast, wear_path
    from solespan.forecast.frames import PROBABLY_GONE
    from solespan.forecast.model.wear_fit import MODEL_VERSION

    console = terminal()
    folder.mkdir(parents=True, exist_ok=True)
    address = f"sqlite:///{folder / DATABASE}"
    database = open_database(address, wait_s=10.0)
    try:
        prepare(database)
        _import_examples(database, console)
        with database.reading() as session:
            log = load_wear_log(session)
        as_of = pd.Timestamp(AS_OF)
        fit = WearModel(log, as_of).fit()
        frame = forecast(fit, log, as_of)
        with database.writing() as session:
            stored = save_fit(
                session, as_of=AS_OF, model_version=MODEL_VERSION, payload=fit.to_dict()
            )
            replace_forecasts(session, frame, wearer_ids=list(log.wearers["wearer_id"]), fit=stored)
        main = frame[(frame["foot"] == "pair") & (frame["point"] == "ball")]
        gone = main["chance_in_use"] < PROBABLY_GONE
        soonest = main[~gone].dropna(subset=["send_by"]).sort_values("send_by")
        if _set_up_shop(database, log, soonest["pair_id"]):
            console.print("The example shop has a bench, orders, a plan of its year and stock.")
        shown = frame[frame["pair_id"].isin(soonest["pair_id"][:ROWS_SHOWN])]
        console.print(due_table(shown, log, AS_OF))
        console.print(
            f"The {min(ROWS_SHOWN, len(soonest))} soonest of {len(main)} pairs. Most owners log "
            f"nothing: {gone.sum()} pairs are probably no longer in use and stand aside."
        )
        drawn = soonest[soonest["band"] != "away"]["pair_id"][:PATHS_DRAWN]
        paths = pd.concat([wear_path(fit, log, pair, as_of) for pair in drawn])
        title = f"Two example racks on {AS_OF}"
        html = report_html(frame, log, paths, today=as_of, title=title)
        (folder / REPORT).write_text(html, encoding="utf-8")
    finally:
        database.close()
    console.print(
        f"\nThe report, for any browser, without a network: [bold]{folder / REPORT}[/bold]\n"
        "What next, with the same two racks:\n"
        f"  export SOLESPAN_DATABASE_URL={address}\n"
        f"  solespan forecast --explain {soonest['pair_id'].iloc[0]}\n"
        "  solespan notices gone\n"
        "  solespan workload\n"
        "  solespan serve     and open http://127.0.0.1:8000\n"
        "With your own logs:\n"
        "  solespan import FOLDER; solespan forecast",
        highlight=False,
    )


def _import_examples(database: Database, console: Console) -> None:
    from solespan.api.services.importing.imports import import_folder

    with ExitStack() as stack:
        for name in EXAMPLES:
            source = resources.files("solespan.synthetic_data") / "examples" / name
            path = stack.enter_context(resources.as_file(source))
            report = import_folder(database, path, today=AS_OF, keep_good_rows=False)
            total = sum(c.new + c.updated + c.unchanged for c in report.counts.values())
            console.print(f"Read the example [bold]{name}[/bold]: {total} rows.")


def _set_up_shop(database: Database, log: WearLog, soonest: pd.Series) -> bool:
    """Give the shop of all but the collector a bench in use; `soonest` are pairs in due order."""
    from solespan.api.cli.demo_shop import set_up_shop

    customers = [name for name in log.wearers["wearer_id"] if not name.startswith(COLLECTOR)]
    owner = log.pairs.set_index("pair_id")["wearer_id"]
    pair_ids = list(soonest[soonest.map(owner).isin(customers)])
    return set_up_shop(database, AS_OF, pair_ids, customers)
