"""Does every statement find its rows by an index at 10,000 pairs, without statistics?

Pages, commands, writes and the background are run, and the database is asked for the plan of each
statement they issued. A big table is never scanned whole, and never joined by the tenant alone.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import Engine, event
from typer.testing import CliRunner

from solespan.api import routes
from solespan.api.cli.main import build_app
from solespan.api.storage.forecasts.forecast_reads import newest_fit_key
from solespan.api.wiring import Services
from tests.api.conftest import MovableClock, serving
from tests.api.storage import big_shop

PAIRS = 10_000
PAGE = 201
BIG = {
    *("wearers", "pairs", "soles", "wear_days", "checks", "bench_jobs", "bench_orders"),
    *("due_outcomes", "forecasts", "notices", "notice_pairs", "outbox", "consents"),
}
PLACES = {
    "pair_id": "p000100",
    "wearer_id": "w000020",
    "sole_id": "s000100",
    "job_id": "j000100",
    "order_id": "o4",
    "worn_on": "2026-06-14",
}
COMMANDS = ("wear p000104", "bench", "stock", "order o4", "quote p000100", "undo", "customers")
Statement = tuple[str, Any]


@pytest.fixture(scope="module")
def shop(
    running: TestClient, databases, fitted_template
) -> Iterator[tuple[TestClient, Services, str]]:
    """The service over the fitted rack and 10,000 pairs more."""
    address = databases.copy(fitted_template)
    with serving(running, address, MovableClock()) as services:
        with services.database.reading() as session:
            fit = newest_fit_key(session)
        big_shop.fill(services.database, PAIRS, fit["id"])
        if services.database.engine.dialect.name == "postgresql":
            with services.database.engine.connect() as connection:
                # The server does it by itself at some time: here always, so that plans are equal.
                connection.exec_driver_sql("ANALYZE")
                connection.commit()
        yield running, services, address
    databases.drop(address)


def addresses(client: TestClient) -> list[str]:
    """Every address that is read: those of the description, and those in the pages' modules."""
    found = list(client.get("/v1/openapi.json").json()["paths"])
    for file in Path(routes.__file__).parent.rglob("*page*.py"):
        found += re.findall(r'\.get\(\s*"(/[^"]*)"', file.read_text("utf-8"))
    return sorted({re.sub(r"\{(\w+)[^}]*\}", lambda m: PLACES.get(m[1], "x"), p) for p in found})


def write(client: TestClient) -> None:
    """Log, correct and delete one of each kind of what is written most."""
    pair = {"pair_id": "p000100"}
    made = client.post("/v1/wear-days", json=pair | {"worn_on": "2026-06-01"})
    assert made.status_code == 201
    match = {"if-match": made.headers["etag"]}
    assert (
        client.put(made.headers["location"], json={"wet": True}, headers=match).status_code == 200
    )
    check = {"checked_on": "2026-06-02", "foot": "left", "point": "toe", "method": "thumb"}
    for path, body in (
        ("checks", pair | check | {"grade": "firm"}),
        ("bench-orders", pair | {"work": "full_sole"}),
        ("wearers", {"wearer_id": "dora"}),
        ("pairs", {"pair_id": "clog", "wearer_id": "dora", "construction": "blake"}),
    ):
        assert client.post(f"/v1/{path}", json=body).status_code == 201, path
    gone = client.delete("/v1/pairs/p000200?with_all_below=true", headers={"if-match": "*"})
    assert gone.status_code in (200, 204)


@pytest.fixture(scope="module")
def issued(shop) -> list[Statement]:
    """Each statement once, with the parameters of one time."""
    client, services, address = shop
    seen: dict[str, Any] = {}

    def note(_connection, _cursor, statement, params, _context, many):
        if re.match(r"\s*(SELECT|UPDATE|DELETE|WITH)", statement):
            seen.setdefault(statement, params[0] if many else params)

    event.listen(Engine, "before_cursor_execute", note)
    try:
        for path in addresses(client):
            client.get(path, follow_redirects=False)
        write(client)
        services.refitter.once()
        with pytest.MonkeyPatch.context() as patch:
            patch.setenv("SOLESPAN_DATABASE_URL", address)
            for command in COMMANDS:
                CliRunner().invoke(build_app(), command.split())
    finally:
        event.remove(Engine, "before_cursor_execute", note)
    assert len(seen) > 100
    return list(seen.items())


def faults_on_sqlite(steps: list[tuple[int, int, int, str]]) -> Iterator[str]:
    """Yield the steps that scan a big table, or join one by the tenant's index alone."""
    loops: dict[int, int] = {}
    for _, parent, _, told in steps:
        table = re.match(r"(SCAN|SEARCH) (\w+)", told)
        if table is None:
            continue
        loops[parent] = loops.get(parent, 0) + 1
        inner = loops[parent] > 1 and told.endswith(("(tenant_pk=?)", "(tenant_pk=?) LEFT-JOIN"))
        if table[2] in BIG and (table[1] == "SCAN" or inner):
            yield told


def faults_on_postgresql(plan: dict[str, Any], *, inner: bool = False) -> Iterator[str]:
    """The same for a plan in which no table is scanned whole unless nothing else can be done."""
    table = plan.get("Relation Name")
    if table in BIG and plan["Node Type"] == "Seq Scan":
        yield f"Seq Scan {table}"
    if (
        table in BIG
        and inner
        and re.fullmatch(r"\(tenant_pk = [^()]*\)", plan.get("Index Cond", ""))
    ):
        yield f"inner {plan['Node Type']} {table} {plan['Index Cond']}"
    for place, part in enumerate(plan.get("Plans", ())):
        again = plan["Node Type"] == "Nested Loop" and place == 1
        yield from faults_on_postgresql(part, inner=inner or again)


def plan_of(connection, statement: str, params: Any) -> Any:
    """Ask the database how it would run a statement: steps on SQLite, a tree on PostgreSQL."""
    if connection.dialect.name == "sqlite":
        told = connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {statement}", params)
        return [tuple(row) for row in told]
    plan = connection.exec_driver_sql(f"EXPLAIN (FORMAT JSON) {statement}", params).scalar_one()
    return (json.loads(plan) if isinstance(plan, str) else plan)[0]["Plan"]


@pytest.fixture
def asked(shop):
    """A connection whose plans scan a table whole only where nothing else can be done."""
    with shop[1].database.reading() as session:
        connection = session.connection()
        if connection.dialect.name == "postgresql":
            connection.exec_driver_sql("SET LOCAL enable_seqscan = off")
        yield connection


@pytest.mark.slow
def test_no_statement_scans_a_big_table_or_joins_it_by_the_tenant(issued, asked):
    look = faults_on_sqlite if asked.dialect.name == "sqlite" else faults_on_postgresql
    faults = []
    for statement, params in issued:
        if found := list(look(plan_of(asked, statement, params))):
            faults.append(f"{found}: {statement}")
    assert not faults, "\n\n".join(faults)


@pytest.mark.slow
def test_the_due_list_is_read_in_the_order_of_an_index(issued, asked):
    dated = [each for each in issued if "ORDER BY forecasts.send_by" in each[0]]
    whole = [each for each in dated if "wearers.wearer_id =" not in each[0]]
    assert whole
    for statement, params in whole:
        if isinstance(params, dict) and params["most"] > PAGE:
            continue  # PostgreSQL rightly sorts where all rows are asked for
        plan = json.dumps(plan_of(asked, statement, params))
        assert "USE TEMP B-TREE FOR ORDER BY" not in plan, statement
        assert '"Node Type": "Sort"' not in plan, statement
