"""Does each command that shows something also write JSON by the published schema, and CSV?"""

from __future__ import annotations

import csv
import io
import json
from typing import Any

import jsonschema_rs
import pytest

from tests.api.cli.conftest import terminal_of
from tests.api.conftest import MovableClock, serving

pytestmark = pytest.mark.any_database

# A command, and the schema of `/v1` that its JSON has.
QUICK = {
    "list wearers": "WearerPage",
    "list pairs --wearer ada": "PairPage",
    "list soles --pair oxford": "SolePage",
    "list wears --since 2026-03-01": "WearDayPage",
    "list checks": "CheckPage",
    "list jobs": "BenchJobPage",
    "list orders": "OrderPage",
    "list stock": "Items",
    "list asked": "AskedPairs",
    "list notices": "NoticePage",
    "list consents": "ConsentPage",
    "list plans --wearer ada": "PlanPage",
    "list routes --wearer ada": "RoutesOfOwner",
    "list care-rules --wearer ada": "CareRules",
    "list members": ["Member"],
    "list invitations": ["Invitation"],
    "list tokens": ["Token"],
    "list audit": "AuditPage",
    "list changes": "RevisionPage",
    "list imports": "ImportPage",
    "accounts list": ["Member"],
    "accounts link ada": "Link",
    "forecast": "ForecastPage",
    "forecast --explain oxford": "PairForecast",
    "bench": "OrderPage",
    "order ORDER": "Order",
    "stock": "Items",
    "stock glue receipt 3": "ItemStored",
    "keep-item thread --use thread": "ItemStored",
    "purchase list": "Purchases",
    "purchase order glue 500": "Purchase",
    "purchase supplier mill": "SupplierStored",
    "quote oxford": "Quote",
    "routes --wearer ada": "RoutesOfOwner",
    "routes oxford": "RoutesForPair",
    "care --wearer ada": "CareDue",
    "life --wearer ada": "LifeOfRack",
    "notices preview --all": "DecisionPage",
    "notices gone": "DecisionPage",
    "notices list": "NoticePage",
    "wear oxford": "WearDayPage",
    "check oxford --foot both --thumb firm": "CheckPage",
    "add wearer Cleo": "WearerPage",
    "add pair brogue --wearer ada --construction blake --material rubber": "PairPage",
    "add sole derby --material rubber": "SolePage",
    "edit pair derby --name monk": "PairPage",
    "book derby top_piece": "Order",
    "move ORDER received": "Order",
}
SLOW = {
    "workload --months 2": "Workload",
    "bench-plan --months 2": "Plan",
    "list stock-advice": "AdvisedItems",
    "purchase weeks glue": "ItemWeeks",
    "plan --wearer ada --weeks 2": "PlanShown",
    "what-if --wearer ada --rest 2": "WhatIfAnswer",
}
# Without options of its own each is what this address answers.
SAME = {
    "list wearers": "/v1/wearers",
    "list pairs": "/v1/pairs",
    "list soles": "/v1/soles",
    "list wears": "/v1/wear-days",
    "list checks": "/v1/checks",
    "list orders": "/v1/bench-orders",
    "list stock": "/v1/stock",
    "list care-rules --wearer ada": "/v1/care-rules?wearer_id=ada",
    "list routes --wearer ada": "/v1/resole-routes?wearer_id=ada",
    "list audit": "/v1/audit",
    "list changes": "/v1/revisions",
    "list members": "/v1/members",
    "quote oxford": "/v1/quotes/oxford",
    "routes oxford": "/v1/routes-to-sole/oxford",
    "care --wearer ada": "/v1/care?wearer_id=ada",
    "life --wearer ada": "/v1/life?wearer_id=ada",
    "forecast": "/v1/forecasts",
}


@pytest.fixture(scope="module")
def shop_services(running, fitted_template, databases):
    """A fitted rack with an order and an item in stock, shared: what commands add may stay."""
    with serving(running, databases.copy(fitted_template), MovableClock()) as services:
        yield services


@pytest.fixture(scope="module")
def shop(shop_services):
    typed = terminal_of(shop_services)
    order = json.loads(typed("book", "oxford", "full_sole", "--on", "2026-07-01", "-f", "json"))
    typed("keep-item", "glue", "--use", "cement")

    def run(command: str, *more: str) -> str:
        words = [order["order_id"] if word == "ORDER" else word for word in command.split()]
        return typed(*words, *more)

    return run


@pytest.fixture
def client(running, shop_services):
    running.app.state.services = shop_services
    return running


def validate(app: Any, schema: str | list[str], text: str) -> None:
    shape = {"components": app.openapi()["components"]}
    name = schema if isinstance(schema, str) else schema[0]
    one = {"$ref": f"#/components/schemas/{name}"}
    whole = one if isinstance(schema, str) else {"type": "array", "items": one}
    jsonschema_rs.validator_for(shape | whole).validate(json.loads(text))


@pytest.mark.parametrize("command", QUICK)
def test_json_has_the_published_schema(shop, app, command):
    validate(app, QUICK[command], shop(command, "--format", "json"))


@pytest.mark.slow
@pytest.mark.parametrize("command", SLOW)
def test_json_of_a_simulation_has_the_published_schema(shop, app, command):
    validate(app, SLOW[command], shop(command, "--format", "json"))


def test_json_says_what_the_service_answers(shop, client):
    for command, address in SAME.items():
        told = json.loads(shop(command, "--format", "json"))  # it may bring forecasts up to date
        answer = client.get(address).text.replace("+00:00", "Z")
        assert told == json.loads(answer), command


@pytest.mark.parametrize("command", ["list checks", "list audit", "list members", "care"])
def test_csv_has_a_row_for_each_item(shop, command):
    command += " --wearer ada" if command == "care" else ""
    body = json.loads(shop(command, "--format", "json"))
    items = body if isinstance(body, list) else body["items"]
    rows = list(csv.DictReader(io.StringIO(shop(command, "--format", "csv"))))
    assert len(rows) == len(items)
    for row, item in zip(rows, items, strict=True):
        assert set(row) >= set(item)


@pytest.mark.parametrize("form", ["table", "json", "csv"])
def test_a_dash_is_standard_output_and_a_file_gets_the_same(shop, tmp_path, monkeypatch, form):
    monkeypatch.chdir(tmp_path)
    shown = shop("list pairs", "--format", form, "--out", "-")
    shop("list pairs", "--format", form, "--out", "pairs.txt")
    assert (tmp_path / "pairs.txt").read_bytes().decode() == shown
    assert [file.name for file in tmp_path.iterdir()] == ["pairs.txt"]


def test_a_list_that_goes_on_says_so(shop, client):
    body = json.loads(shop("list wears", "--limit", "3", "--format", "json"))
    assert len(body["items"]) == 3
    rest = client.get("/v1/wear-days", params={"after": body["next"]}).json()
    assert len(rest["items"]) == len(client.get("/v1/wear-days").json()["items"]) - 3


@pytest.mark.parametrize("width", ["40", "80"])
@pytest.mark.parametrize("command", ["forecast", "list wears", "routes oxford"])
def test_no_width_cuts_a_date_or_a_name(shop, monkeypatch, command, width):
    monkeypatch.setenv("COLUMNS", width)
    shown = shop(command)
    assert "…" not in shown
    items = json.loads(shop(command, "--format", "json"))["items"]
    columns = {"forecast": ("send_by",), "routes oxford": ("book_by", "back_on_p90")}
    for item in items[:20]:
        if item.get("foot", "pair") == "pair" and item.get("point", "ball") == "ball":
            for name in (*columns.get(command, ("worn_on", "fitted_on")), "pair_id"):
                assert item.get(name) is None or item[name] in shown
