"""A step of the bench is undone with everything that it logged."""

from __future__ import annotations

import sqlalchemy as sa

from solespan.api.storage.tables.rack import Root
from tests.api.bench.test_stock_and_quotes import png_with_place

OUTSIDE = {"revisions", "record_changes", "audit_entries", "idempotency_keys", "forecasts"}
MOVING = {"version", "data_version", "updated_at"}


def rows_of(client) -> dict[str, list]:
    with client.app.state.services.database.reading() as session:
        return {
            table.name: sorted(
                map(repr, session.execute(sa.select(*(c for c in table.c if c.name not in MOVING))))
            )
            for table in Root.metadata.sorted_tables
            if table.name not in OUTSIDE
        }


def revisions(client) -> list[str]:
    return [one["revision_id"] for one in client.get("/v1/revisions").json()["items"]]


def test_every_step_of_an_order_is_undone_in_turn(bench, client, foot):
    """Orders, jobs, soles, checks, papers, stock and outcomes are as before each step."""
    item = {"use": "sole", "material": "oak_bark_leather", "supply_days": 20, "supply_days_sd": 3}
    client.put("/v1/stock/soles-oak", json=item)
    client.post("/v1/stock/soles-oak/lines", json={"reason": "receipt", "quantity": 2})
    known = revisions(client)
    states = [rows_of(client)]
    order = bench.on_bench()
    for done in (
        lambda: bench.file(order, "after", {"left": foot(), "right": foot()}),
        lambda: bench.finish(order),
    ):
        states.append(rows_of(client))
        done()
    steps = [one for one in revisions(client) if one not in known]
    assert client.post(f"/v1/revisions/{steps[-1]}/undo").status_code == 409
    for number, step in enumerate(steps):
        answer = client.post(f"/v1/revisions/{step}/undo")
        assert answer.status_code == 200, answer.text
        if number < 2:
            assert rows_of(client) == states[-1 - number]
    assert rows_of(client) == states[0]


def test_a_photograph_taken_away_comes_back(bench, client):
    order = bench.book()
    sent = client.post(
        "/v1/bench-photos",
        files={"file": ("a.png", png_with_place(), "image/png")},
        data={"order_id": order["order_id"]},
    )
    assert sent.status_code == 201, sent.text
    address = sent.headers["location"]
    before = client.get(address).content
    assert client.delete(address).status_code == 204
    assert client.get(address).status_code == 404
    assert client.post(f"/v1/revisions/{revisions(client)[0]}/undo").status_code == 200
    assert client.get(address).content == before
