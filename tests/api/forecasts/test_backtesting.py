"""Does `solespan backtest` look back, tell it in words first, and refuse mistakes in a sentence?"""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema_rs
import pytest
from fastapi.testclient import TestClient
from typer.testing import CliRunner

from solespan.api.app import create_app
from solespan.api.cli.main import build_app
from solespan.api.errors import NothingForecast, Refused
from solespan.api.settings import Settings

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


@pytest.mark.slow
def test_json_is_what_the_service_answers(run, app, new_address):
    run("import", str(EXAMPLE))
    told = run("backtest", "--from", "2025-06-01", "--every", "250", "--format", "json")
    schema = {"$ref": "#/components/schemas/PastForecasts"}
    shape = schema | {"components": app.openapi()["components"]}
    jsonschema_rs.validator_for(shape).validate(json.loads(told))
    with TestClient(create_app(Settings(database_url=new_address), background=False)) as client:
        answer = client.get("/v1/past-forecasts", headers={"host": "127.0.0.1"})
    assert answer.json() == json.loads(told)
