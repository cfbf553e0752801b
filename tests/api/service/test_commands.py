"""Do `solespan fit`, `forecast` and `serve` do their work and tell mistakes in sentences?"""

from __future__ import annotations

import csv
import io
import json
import os
import signal
import socket
import urllib.request
from contextlib import ExitStack
from datetime import date

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from solespan.api.cli import main as command_line
from solespan.api.cli import serve
from solespan.api.errors import BadSetting, NotFound, Refused, SolespanError
from solespan.api.settings import Settings
from solespan.api.storage.rack.frames import load_wear_log
from solespan.api.storage.session import open_database
from solespan.forecast.dates.models import MODELS
from solespan.forecast.frames import FORECAST
from tests.api.service.processes import PATIENCE_S, first_line, port_of, started

HALF_SENT = (
    b"POST /v1/wearers HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\n"
    b"Content-Length: 99\r\n\r\n{"
)


@pytest.fixture
def run(monkeypatch, fitted_template, own_database, clock):
    """Run a command on a copy of the fitted rack; give its text, or raise its error."""
    monkeypatch.setenv("SOLESPAN_DATABASE_URL", own_database(fitted_template))
    monkeypatch.setattr("solespan.api.wiring.Clock", lambda: clock)
    monkeypatch.setenv("COLUMNS", "160")

    def run(*arguments: str) -> str:
        result = CliRunner().invoke(command_line.build_app(), arguments)
        if result.exception is not None:
            raise result.exception
        return result.stdout

    return run


def test_the_forecast_file_has_the_columns_of_the_dictionary_and_parses(run, tmp_path):
    run("forecast", "--format", "csv", "--out", str(tmp_path / "due.csv"))
    text = (tmp_path / "due.csv").read_text("utf-8")
    rows = list(csv.DictReader(io.StringIO(text)))
    assert list(rows[0]) == [column.name for column in FORECAST]
    assert {row["pair_id"] for row in rows} == {"oxford", "derby", "boot"}
    for row in rows:
        assert row["as_of"] == "2026-06-15"
        for column in FORECAST:
            if column.kind == "date" and row[column.name]:
                date.fromisoformat(row[column.name])
            if column.kind == "number" and row[column.name]:
                float(row[column.name])


def test_the_renewal_forecast_has_the_days_that_the_look_back_scores(run):
    rows = {
        row["pair_id"]: row
        for row in csv.DictReader(
            io.StringIO(run("forecast", "--model", "renewal", "--format", "csv"))
        )
        if (row["foot"], row["point"]) == ("pair", "ball")
    }
    database = open_database(os.environ["SOLESPAN_DATABASE_URL"])
    with database.reading() as session:
        log = load_wear_log(session)
    database.close()
    day = pd.Timestamp("2026-06-15")
    days = MODELS["renewal"].draw(log, day, 1826, None).resoles
    assert set(rows) == set(days.index) == {"oxford", "derby", "boot"}
    for pair, row in rows.items():
        median = np.quantile(days.loc[pair], 0.5, method="hazen")
        assert row["due_p50"] == f"{day + pd.Timedelta(days=np.ceil(median)):%Y-%m-%d}"
        assert row["reason"] == "judged by how long soles last: the renewal model"


def test_another_model_judges_one_wearer_and_explains_nothing(run):
    told = run("forecast", "--model", "line", "--wearer", "ben")
    assert "boot" in told
    assert "oxford" not in told
    with pytest.raises(Refused, match="explains no date"):
        run("forecast", "--model", "line", "--explain", "boot")
    with pytest.raises(Refused) as refused:
        run("forecast", "--model", "coin")
    assert all(name in " ".join(refused.value.lines()) for name in MODELS)


def test_the_file_may_go_to_standard_output_alone(run):
    told = run("forecast", "--format", "csv", "--wearer", "ben")
    rows = list(csv.DictReader(io.StringIO(told)))
    assert {row["pair_id"] for row in rows} == {"boot"}


def test_the_due_list_shows_each_pair_once(run):
    told = run("forecast")
    for pair_id in ("oxford", "derby", "boot"):
        assert told.count(f" {pair_id} ") == 1


def test_a_look_back_is_made_for_that_day_and_stores_nothing(run):
    before = run("forecast", "--format", "csv")
    past = list(
        csv.DictReader(io.StringIO(run("forecast", "--as-of", "2026-03-01", "--format", "csv")))
    )
    assert {row["as_of"] for row in past} == {"2026-03-01"}
    assert run("forecast", "--format", "csv") == before


def test_a_fit_is_summarised(run):
    told = run("fit")
    assert "the forecasts of 2 wearers are up to date" in told
    assert "2026-06-15" in told


def test_an_explanation_is_sentences_and_the_check_to_make_next(run):
    told = run("forecast", "--explain", "oxford")
    assert "Which check would narrow the date most" in told
    assert "driver" in told


@pytest.mark.parametrize(
    ("arguments", "error", "said"),
    [
        (("forecast", "--wearer", "adda"), NotFound, "'ada'"),
        (("forecast", "--explain", "oxfort"), NotFound, "'oxford'"),
        (("forecast", "--as-of", "last week"), Refused, "YYYY-MM-DD"),
        (("forecast", "--as-of", "2026-02-30"), Refused, "YYYY-MM-DD"),
        (("forecast", "--as-of", "2026-06-16"), Refused, "2026-06-15"),
        (("forecast", "--as-of", "20260601"), Refused, "YYYY-MM-DD"),
        (("forecast", "--as-of", "2025-01-01"), SolespanError, "no pair had a sole"),
        (("forecast", "--explain", "boot", "--as-of", "2025-01-01"), SolespanError, "sole"),
        (("forecast", "--out", "/nowhere/at/all.csv"), Refused, "--out"),
        (("fit", "--as-of", "soon"), Refused, "YYYY-MM-DD"),
    ],
)
def test_mistakes_are_told_with_what_is_accepted(run, arguments, error, said):
    with pytest.raises(error) as caught:
        run(*arguments)
    assert said in " ".join(caught.value.lines())


@pytest.mark.parametrize("host", ["0.0.0.0", "192.168.1.5", "::", "shop.example", ""])
def test_other_machines_are_refused_while_there_are_no_accounts(host):
    with pytest.raises(BadSetting, match="sign-in is off"):
        serve.refuse_other_machines(host)


@pytest.mark.parametrize(
    ("host", "given", "said"),
    [
        ("127.0.0.1", {"public_address": "https://shop.example"}, "sign-in is off"),
        ("0.0.0.0", {"accounts": True}, "https"),
        ("192.168.1.5", {"accounts": True}, "https"),
    ],
)
def test_what_others_reach_needs_a_sign_in_and_tls(host, given, said):
    with pytest.raises(BadSetting, match=said):
        serve.refuse_open_door(host, Settings(**given))


@pytest.mark.parametrize(
    ("host", "given"),
    [
        ("127.0.0.1", {}),
        ("127.0.0.1", {"public_address": "http://localhost:8000"}),
        ("127.0.0.1", {"accounts": True}),
        ("0.0.0.0", {"accounts": True, "public_address": "https://shop.example"}),
    ],
)
def test_what_is_behind_a_sign_in_and_tls_may_be_reached(host, given):
    serve.refuse_open_door(host, Settings(**given))


@pytest.mark.parametrize("host", ["127.0.0.1", "127.9.9.9", "::1", "localhost"])
def test_this_machine_is_accepted(host):
    serve.refuse_other_machines(host)


def test_a_taken_port_is_told_before_anything_starts():
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        with pytest.raises(BadSetting, match="cannot listen"):
            serve.listen("127.0.0.1", taken.getsockname()[1])


@pytest.mark.slow
def test_the_service_starts_answers_logs_json_and_ends(tmp_path):
    env = os.environ | {"SOLESPAN_DATABASE_URL": f"sqlite:///{tmp_path / 'served.sqlite3'}"}
    process = started("serve", "--port", "0", env=env)
    try:
        url = f"http://127.0.0.1:{port_of(process)}/v1/health/ready"
        with urllib.request.urlopen(url, timeout=PATIENCE_S) as answer:
            assert json.load(answer)["status"] == "ready"
    finally:
        process.send_signal(signal.SIGINT)
        _, told = process.communicate(timeout=PATIENCE_S)
    events = [json.loads(line) for line in told.splitlines()]
    assert any(event["event"] == "request" and event["status"] == 200 for event in events)


@pytest.mark.slow
@pytest.mark.parametrize("words", [("serve", "--port", "0"), ("work",)])
def test_a_program_that_is_asked_to_end_waits_for_no_sender(tmp_path, words):
    """A request whose body never comes would keep the service running for ever."""
    env = os.environ | {"SOLESPAN_DATABASE_URL": f"sqlite:///{tmp_path / 'served.sqlite3'}"}
    process = started(*words, env=env)
    with ExitStack() as stack:
        stack.callback(process.kill)
        if words[0] == "serve":
            port = port_of(process)
            half = stack.enter_context(socket.create_connection(("127.0.0.1", port)))
            half.sendall(HALF_SENT)
            url = f"http://127.0.0.1:{port}/v1/health/live"
            stack.enter_context(urllib.request.urlopen(url, timeout=PATIENCE_S)).read()
        else:
            first_line(process)
        process.send_signal(signal.SIGTERM)
        process.communicate(timeout=PATIENCE_S)
        assert process.returncode in (0, -signal.SIGTERM)
