"""Run in a copy of the program that has one more wear model: `two_years`."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

import pandas as pd
from typer.testing import CliRunner

from solespan.api.cli.main import build_app
from solespan.api.services.forecasts.look_back import kept
from solespan.api.storage.session import open_database
from solespan.dashboards.pages.forecasts.look_back import look_back_page
from tests.registers.conftest import ROOT

EXAMPLE = ROOT / "synthetic_data" / "examples" / "one_collector"


def run(*arguments: str) -> str:
    result = CliRunner().invoke(build_app(), arguments)
    if result.exception is not None:
        raise result.exception
    return result.stdout


def forecast_from(folder: Path) -> None:
    """The command knows its name, and the file has its dates and its reason."""
    run(
        "forecast",
        "--model",
        "two_years",
        "--as-of",
        "2026-11-23",
        "--format",
        "csv",
        "--out",
        str(folder / "due.csv"),
    )
    said = pd.read_csv(folder / "due.csv", parse_dates=["due_p50"])
    said = said[(said["foot"] == "pair") & (said["point"] == "ball")].set_index("sole_id")
    soles = pd.read_csv(EXAMPLE / "soles.csv", parse_dates=["fitted_on"]).set_index("sole_id")
    due = soles["fitted_on"].loc[said.index] + pd.Timedelta(days=730)
    assert (said["due_p50"] == due.clip(lower=pd.Timestamp("2026-11-23"))).all()
    assert set(said["reason"]) == {"judged by two years for every sole"}


def looked_back_with() -> None:
    """The look back scores it, says so in words, and the page shows it."""
    told = run("backtest", "--from", "2026-06-01", "--every", "500")
    assert told.count("two years each") == 2
    database = open_database(os.environ["SOLESPAN_DATABASE_URL"])
    with database.reading() as session:
        page = look_back_page(kept(session), running=False, problem="")
    database.close()
    assert "two years each" in {row["forecaster"] for row in page["kept"]["scores"]}


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as temporary:
        os.environ["SOLESPAN_DATABASE_URL"] = f"sqlite:///{Path(temporary) / 'made_up.sqlite3'}"
        os.environ["COLUMNS"] = "160"
        run("import", str(EXAMPLE))
        forecast_from(Path(temporary))
        looked_back_with()
