"""Do records, lists, keys and forecasts behave the same on SQLite and on PostgreSQL?"""

from __future__ import annotations

from datetime import date

import pytest
from fastapi.testclient import TestClient

from solespan.api.services.idempotency import Answered
from solespan.api.settings import Settings
from solespan.api.storage.forecasts import forecast_reads
from solespan.api.storage.idempotency_keys import keep_answer
from solespan.api.wiring import build_services


@pytest.fixture
def both(running: TestClient, new_address: str, clock):
    """The client on an empty database, and what stands behind it."""
    services = build_services(Settings(database_url=new_address), clock)
    running.app.state.services = services
    yield running, services
    services.database.close()


def walked(client, path, **params):
    """The whole list, a few rows at a time."""
    items, after = [], {}
    while True:
        page = client.get(f"/v1/{path}", params={"limit": 7, **params, **after}).json()
        items += page["items"]
        if page["next"] is None:
            return items
        after = {"after": page["next"]}


def test_a_rack_is_logged_listed_fitted_forecast_changed_and_deleted(both, add_rack, bodies):
    client, services = both
    add_rack(client)
    services.refitter.once()
    for path, body in bodies.items():
        made = client.post(f"/v1/{path}", json=body, headers={"idempotency-key": f'"{path}"'})
        assert made.status_code == 201, made.text
        again = client.post(f"/v1/{path}", json=body, headers={"idempotency-key": f'"{path}"'})
        assert again.headers["idempotency-replayed"] == "true"
        assert made.json() in walked(client, path)
    pairs = [row["pair_id"] for row in walked(client, "forecasts", foot="pair", point="ball")]
    assert sorted(pairs) == ["boot", "derby", "oxford"]
    changed = client.put(
        "/v1/wear-days/derby/2026-06-10", json={"wet": True}, headers={"if-match": '"1"'}
    )
    assert changed.json()["version"] == 2
    gone = client.delete("/v1/wearers/ada?with_all_below=true", headers={"if-match": "*"})
    assert gone.status_code == 204
    with services.database.reading() as session:
        assert forecast_reads.forecast_of_pair(session, "oxford") == []


# On SQLite there is one writing process, whose writers queue before they look.
class TestTwoProcesses:
    """Two that write at the same moment."""

    @pytest.fixture
    def new_address(self, own_postgres):
        return own_postgres()

    def test_an_answer_kept_by_another_process_meanwhile_is_given_instead(self, both):
        """The other process answers between our look and our insert: its unique row wins."""
        _, services = both

        def create(_session):
            with services.database.writing() as other:
                keep_answer(
                    other,
                    route="POST /v1/wearers",
                    key="k",
                    fingerprint="f",
                    status_code=201,
                    body={"body": {"wearer_id": "theirs"}, "headers": {}},
                    now=services.clock.now(),
                )
            return Answered(201, {"wearer_id": "ours"})

        answer = services.idempotency.once("POST /v1/wearers", "k", "f", create)
        assert (answer.body, answer.replayed) == ({"wearer_id": "theirs"}, True)


def test_a_send_by_filter_leaves_out_what_lies_beyond_the_horizon(both, add_rack):
    client, services = both
    add_rack(client)
    services.refitter.once()
    with services.database.reading() as session:
        chosen = forecast_reads.DueFilter(send_by_before=date(2190, 1, 1))
        rows = forecast_reads.list_due(session, chosen, after=None, limit=100)
    assert all(row["send_by"] is not None for row in rows)
