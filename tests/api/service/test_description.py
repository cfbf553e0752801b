"""Is the API's description complete, in units, and the one that was committed?

To record it anew after a wanted change: SOLESPAN_TEST_RECORD=1 pytest tests/api/service
"""

from __future__ import annotations

import json
import os
import re
from pathlib import Path

import pytest

from solespan.api.app import create_app
from solespan.api.routes.edge.access import need_of
from solespan.api.settings import Settings
from solespan.forecast.frames import TABLES

pytestmark = pytest.mark.any_database

COMMITTED = Path(__file__).with_name("openapi.json")


def described(app):
    document = app.openapi()
    return json.loads(json.dumps(document))


@pytest.fixture
def described_with():
    def make(**choices):
        return described(create_app(Settings(**choices), background=False))

    return make


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


def operations(document):
    return [
        (method.upper(), path, operation)
        for path, methods in document["paths"].items()
        for method, operation in methods.items()
    ]


def test_every_operation_is_called_by_a_verb_and_a_noun_of_its_own(app):
    names = [operation["operationId"] for _, _, operation in operations(described(app))]
    assert len({*names}) == len(names) > 100
    for name in names:
        assert re.fullmatch(r"[a-z]+(_[a-z]+)+", name), name
        assert not re.search(r"_v1_|_(get|put|post|patch|delete)$", name), name


def test_every_operation_has_one_described_subject(app):
    document = described(app)
    known = {tag["name"] for tag in document["tags"] if tag["description"]}
    assert {tag for _, _, o in operations(document) for tag in o["tags"]} == known
    assert all(len(operation["tags"]) == 1 for _, _, operation in operations(document))


def test_no_two_addresses_are_alike(app):
    paths = [re.sub(r"\{[^}]*\}", "{}", path) for path in described(app)["paths"]]
    assert len({*paths}) == len(paths)


def test_every_schema_has_one_name_and_every_file_its_format(app):
    text = json.dumps(document := described(app))
    names = document["components"]["schemas"]
    assert not [name for name in names if re.search(r"^Body_|-Input$|-Output$|__", name)]
    for name, schema in names.items():
        assert re.fullmatch(r"[A-Z][A-Za-z]*", name), name
        assert schema.get("title") == name
        assert f'"#/components/schemas/{name}"' in text, f"{name} is used nowhere"
    assert "contentMediaType" not in text
    assert text.count('"format": "binary"') == 8  # three forms, photographs of three and two kinds


@pytest.mark.parametrize("accounts", [True, False])
def test_every_operation_says_who_may_send_it_as_the_service_decides(accounts, described_with):
    document = described_with(accounts=accounts)
    schemes = document["components"]["securitySchemes"]
    for method, path, operation in operations(document):
        need = need_of(method, path)
        ways = operation["security"]
        assert {name for way in ways for name in way} <= schemes.keys()
        if need == "open":
            assert ways == []
        else:
            assert {"bearer": [] if need == "signed in" else [need]} in ways
            assert ({} in ways) != accounts


def test_every_error_that_an_operation_can_answer_is_described_by_status(app):
    document = described(app)
    for method, path, operation in operations(document):
        statuses = operation["responses"].keys()
        assert "400" in statuses
        assert ("404" in statuses) >= ("{" in path), (method, path)
        assert ("415" in statuses) == ("requestBody" in operation)
        if method in ("PATCH", "PUT", "POST", "DELETE"):
            assert {"403", "409", "429"} <= statuses
        for status in statuses:
            reference = operation["responses"][status].get("$ref")
            if reference:
                name = reference.rpartition("/")[2]
                content = document["components"]["responses"][name]["content"]
                assert {*content} == {"application/problem+json"}
