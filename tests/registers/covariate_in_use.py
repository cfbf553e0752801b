"""Run in a copy of the program that has one more covariate: `salted`, a flag of a wear day."""

from __future__ import annotations

import tempfile
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd
from alembic import command
from fastapi.testclient import TestClient

from solespan.api.app import create_app
from solespan.api.clock import Clock
from solespan.api.settings import Settings
from solespan.api.storage.schema import alembic_config, migrate
from solespan.api.storage.session import open_database
from solespan.forecast import WearModel, explain, wear_log
from solespan.forecast.frames import TABLES
from solespan.forecast.planning import ConditionShare, what_if
from solespan.synthetic_data import Truth, simulate

AS_OF = pd.Timestamp("2026-06-01")
NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
DIARY = "pair_id,worn_on,salted\nP0001,2026-05-30,true\nP0001,2026-05-31,\n"


def simulated() -> dict[str, pd.DataFrame]:
    """The simulator draws the condition, and it wears soles by the factor of its truth."""
    truth = replace(Truth(), checker_shares=(1.0, 0.0, 0.0, 0.0), check_days=(40.0,) * 4)
    assert dict(truth.other_factors) == {"salted": 1.4}
    world = simulate(truth, np.random.default_rng(3), n_pairs=60, as_of=AS_OF, horizon_days=0)
    salted = world.frames["wear_days"]["salted"]
    assert salted.dtype == bool
    assert 0.1 < salted.mean() < 0.4
    return world.frames


def learnt_explained_and_asked(frames: dict[str, pd.DataFrame]) -> None:
    """The model learns its effect; explanation and what-if name it."""
    log = wear_log(**frames)
    fit = WearModel(log, AS_OF).fit()
    assert 1.1 < np.exp(fit.value("log_salted")) < 1.8
    pair_id = "P0001"
    told = explain(fit, log, pair_id, AS_OF)
    assert "salted days" in set(told.drivers["driver"])
    assert any(sentence.startswith("Salted days add") for sentence in told.sentences)
    mine = log.of_wearers(log.pairs.loc[log.pairs["pair_id"] == pair_id, "wearer_id"])
    sooner = what_if(fit, mine, AS_OF, [ConditionShare(pair_id, "salted", 1.0)])
    row = sooner.set_index("pair_id").loc[pair_id]
    assert row["due_p50_then"] < row["due_p50_now"]


def served(frames: dict[str, pd.DataFrame]) -> None:
    """Files bring it, `/v1` answers it, the form logs it, the pages show it."""
    with tempfile.TemporaryDirectory() as folder:
        address = f"sqlite:///{Path(folder) / 'made_up.sqlite3'}"
        database = open_database(address)
        migrate(database)
        with database.engine.connect() as connection:
            command.check(alembic_config(connection))
        database.close()
        app = create_app(Settings(database_url=address), clock=Clock(lambda: NOW), background=False)
        with TestClient(app, base_url="http://127.0.0.1:8000") as client:
            asked_over_http(client, frames)


def asked_over_http(client: TestClient, frames: dict[str, pd.DataFrame]) -> None:
    wearer = frames["pairs"].set_index("pair_id").loc["P0001", "wearer_id"]
    files = {
        "pairs": frames["pairs"].query("pair_id == 'P0001'").to_csv(index=False),
        "soles": frames["soles"].query("pair_id == 'P0001'").to_csv(index=False),
        "wear_days": DIARY,
    }
    sent = [("files", (f"{name}.csv", text.encode())) for name, text in files.items()]
    assert client.post("/v1/imports", files=sent).json()["report"]["written"]
    days = client.get("/v1/wear-days", params={"pair_id": "P0001"}).json()["items"]
    assert [day["salted"] for day in days] == [True, False]

    described = client.app.openapi()["components"]["schemas"]
    assert "salt lay on the ground" in described["WearDay"]["properties"]["salted"]["description"]
    assert "salted" in described["ConditionAsked"]["properties"]["condition"]["enum"]

    page = client.get("/pairs/P0001").text
    assert 'name="salted"' in page
    assert "on salted ground" in page
    assert '<th scope="col">Salt</th>' in page
    token = page.partition('name="form_token" value="')[2].partition('"')[0]
    typed = {"worn_on": "2026-05-29", "surface": "pavement", "salted": "true", "form_token": token}
    answer = client.post(
        "/pairs/P0001/wear-days", data=typed, headers={"origin": "http://127.0.0.1:8000"}
    )
    assert answer.status_code == 200, answer.text
    days = client.get("/v1/wear-days", params={"pair_id": "P0001"}).json()["items"]
    assert [day["salted"] for day in days] == [True, True, False]
    assert "<td>salted</td>" in client.get("/pairs/P0001").text

    client.app.state.services.fitter.refit()
    assert "salted days" in client.get("/what-if", params={"wearer": wearer}).text
    habit = {"kind": "condition", "pair_id": "P0001", "condition": "salted", "share": 1.0}
    asked = client.post("/v1/what-if", json={"wearer_id": wearer, "habits": [habit]})
    assert asked.status_code == 200, asked.text


if __name__ == "__main__":
    assert "salted" in TABLES["wear_days"].by_name
    world = simulated()
    learnt_explained_and_asked(world)
    served(world)
