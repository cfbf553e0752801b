"""Does any request that the description allows, or forbids, bring the service down?"""

from __future__ import annotations

from collections.abc import Iterator

import pytest
import schemathesis
from fastapi import FastAPI
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, given, settings
from hypothesis.errors import Unsatisfiable
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from solespan.api.app import LOOPBACK_HOSTS, create_app
from solespan.api.settings import Settings

pytestmark = [pytest.mark.slow, pytest.mark.load]

CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_schema_conformance,
]
# The log and its forecasts in depth. Plans and the bench simulate years, so theirs are few and
# short, but about pairs and orders that are there, or nearly all would end at "not found".
EXAMPLES, FEW_EXAMPLES = 25, 8
IN_DEPTH = {
    "wearers",
    "pairs",
    "soles",
    "wear-days",
    "checks",
    "bench-jobs",
    "imports",
    "forecasts",
    "fit",
    "health",
}


KNOWN = {"wearer_id": "ada", "pair_id": "oxford", "order_id": "there", "item_id": "there"}
SHORT = {"weeks": 3, "months": 3}
SPANS = range(1, 61)


def in_depth(operation) -> bool:
    return operation.path.removeprefix("/v1/").split("/")[0] in IN_DEPTH


@pytest.fixture
def own_app(fitted_template, own_database) -> Iterator[FastAPI]:
    """A service on a fitted rack with an order and a stock item."""
    app = create_app(
        Settings(database_url=own_database(fitted_template)),
        background=False,
        allowed_hosts={*LOOPBACK_HOSTS, "testserver"},
    )
    client = TestClient(app)
    order = {"order_id": "there", "pair_id": "oxford", "work": "full_sole"}
    assert client.post("/v1/bench-orders", json=order).status_code == 201
    item = {"use": "sole", "supply_days": 30, "minimum_order": 1}
    assert client.put("/v1/stock/there", json=item).status_code == 200
    yield app
    app.state.services.database.close()


def about_what_is_there(case) -> None:
    """Name records that exist, versions as they stand, and short spans of time."""
    parts = [case.path_parameters, case.query, case.body]
    for part in parts:
        if isinstance(part, dict):
            part.update({name: KNOWN[name] for name in part.keys() & KNOWN.keys()})
            long = {n for n in part.keys() & SHORT.keys() if part[n] in SPANS}
            part.update({name: SHORT[name] for name in long})
    for name in [name for name in case.headers or () if name.lower() == "if-match"]:
        case.headers[name] = "*"


@pytest.mark.parametrize("deep", [True, False], ids=["in depth", "the rest"])
@pytest.mark.parametrize("mode", list(GenerationMode))
def test_no_request_is_answered_by_a_failure_or_the_wrong_media_type(own_app, mode, deep):
    """Each operation with valid and invalid requests; the library drives its test client itself."""
    schema = schemathesis.openapi.from_asgi("/v1/openapi.json", own_app)
    every = [result.ok() for result in schema.get_all_operations()]
    operations = [operation for operation in every if in_depth(operation) == deep]
    assert len(operations) > 35
    failures = []
    for operation in operations:

        @settings(
            max_examples=EXAMPLES if deep else FEW_EXAMPLES,
            suppress_health_check=list(HealthCheck),
        )
        @given(case=operation.as_strategy(generation_mode=mode))
        def check(case):
            if not deep and mode == GenerationMode.POSITIVE:
                about_what_is_there(case)
            case.call_and_validate(checks=CHECKS)

        try:
            check()
        except Unsatisfiable:
            pass  # nothing of this operation can be made invalid
        except Exception as failure:  # noqa: BLE001 - gather all, then tell
            failures.append(f"{operation.label}: {failure}")
    assert not failures, "\n\n".join(failures)
