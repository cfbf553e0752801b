"""Does `solespan backtest` look back, tell it in words first, and refuse mistakes in a sentence?"""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

from solespan.api.cli.main import build_app
from solespan.api.errors import NothingForecast, Refused

EXAMPLE = Path(__file__).parents[3] / "synthetic_data" / "examples" / "one_collector"


@pytest.fixture
def run(monkeypatch, new_address):
    """Run a command on a database of its own; give its text, or raise its error."""
    monkeypatch.setenv("SOLESPAN_DATABASE_URL", new_address)
    monkeypatch.setenv("COLUMNS", "160")

    def run(*arguments: str) -> str:
        result = CliRunner().invoke(build_app(), arguments)
        if result.exception is not None:
            raise result.exception
        return result.stdout

    return run


@pytest.mark.slow
def test_an_empty_log_cannot_be_looked_back_over(run):
    with pytest.raises(NothingForecast, match="nothing to look back over"):
        run("backtest")


@pytest.mark.slow
def test_a_day_that_is_none_is_refused_by_the_name_of_its_option(run):
    with pytest.raises(Refused) as refused:
        run("backtest", "--from", "someday")
    assert "--from" in " ".join(refused.value.lines())


@pytest.mark.slow
def test_words_come_first_then_tables_and_the_figure_is_written(run, tmp_path):
    run("import", str(EXAMPLE))
    figure = tmp_path / "chances.html"
    told = run("backtest", "--from", "2025-06-01", "--every", "250", "--figure", str(figure))
    assert told.startswith("Looked back from 3 days")
    assert told.index("this model") < told.index("Scores")
    assert "share that was due" in figure.read_text("utf-8")
