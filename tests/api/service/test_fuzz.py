"""Does any request that the description allows, or forbids, bring the service down?"""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path

import pytest
import schemathesis
from hypothesis import HealthCheck, settings
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from api.app import LOOPBACK_HOSTS, create_app
from api.settings import Settings

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def api_schema(fitted_template):
    folder = Path(tempfile.mkdtemp(prefix="solespan-fuzz-"))
    shutil.copyfile(fitted_template, folder / "fuzz.sqlite3")
    app = create_app(
        Settings(database_url=f"sqlite:///{folder / 'fuzz.sqlite3'}"),
        background=False,
        allowed_hosts={*LOOPBACK_HOSTS, "testserver"},
    )
    yield schemathesis.openapi.from_asgi("/v1/openapi.json", app)
    shutil.rmtree(folder)


schema = schemathesis.pytest.from_fixture("api_schema")


@schema.parametrize()
@settings(
    max_examples=25,
    deadline=None,
    derandomize=True,
    suppress_health_check=list(HealthCheck),
)
def test_no_request_is_answered_by_a_failure_or_the_wrong_media_type(case):
    case.call_and_validate(
        checks=[
            not_a_server_error,
            status_code_conformance,
            content_type_conformance,
            response_schema_conformance,
        ]
    )
