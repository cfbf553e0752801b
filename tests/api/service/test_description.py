"""Is the API's description complete, in units, and the one that was committed?

To record it anew after a wanted change: SOLESPAN_TEST_RECORD=1 pytest tests/api/service
"""

from __future__ import annotations

import json
import os
from pathlib import Path

from solespan.forecast.frames import TABLES

COMMITTED = Path(__file__).with_name("openapi.json")


def described(app):
    document = app.openapi()
    return json.loads(json.dumps(document))


def test_the_description_is_the_committed_one(app):
    document = described(app)
    if os.environ.get("SOLESPAN_TEST_RECORD"):
        COMMITTED.write_text(json.dumps(document, indent=1, sort_keys=True) + "\n", "utf-8")
    assert document == json.loads(COMMITTED.read_text("utf-8")), "see this file's head"


def test_every_field_and_parameter_states_its_unit(app):
    document = described(app)
    for name, schema in document["components"]["schemas"].items():
        for field, about in schema.get("properties", {}).items():
            assert "Unit: " in about.get("description", ""), (name, field)
    for path, methods in document["paths"].items():
        for method, operation in methods.items():
            for parameter in operation.get("parameters", []):
                told = parameter.get("description") or parameter["schema"].get("description", "")
                assert "Unit: " in told, (path, method, parameter["name"])


def test_every_column_of_the_contract_can_be_read_and_given(app):
    schemas = described(app)["components"]["schemas"]
    for table in TABLES.values():
        (created,) = [
            s
            for name, s in schemas.items()
            if name.endswith("Create")
            and {*table.key} <= s["properties"].keys()
            and {c.name for c in table.stored} == s["properties"].keys()
        ]
        for column in table.stored:
            if column.unit:
                assert f"Unit: {column.unit}" in created["properties"][column.name]["description"]


def test_every_operation_documents_its_errors_as_problems(app):
    for path, methods in described(app)["paths"].items():
        for method, operation in methods.items():
            content = operation["responses"]["default"]["content"]
            assert list(content) == ["application/problem+json"], (path, method)


def test_every_create_documents_the_idempotency_key(app):
    for path, methods in described(app)["paths"].items():
        if "post" in methods:
            names = {p["name"].lower() for p in methods["post"].get("parameters", [])}
            assert "idempotency-key" in names, path


def test_the_description_is_served_but_no_page_that_loads_scripts_from_elsewhere(client):
    assert client.get("/v1/openapi.json").json()["info"]["title"] == "solespan"
    for path in ("/redoc", "/openapi.json", "/metrics"):
        assert client.get(path).status_code == 404
