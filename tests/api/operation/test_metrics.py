"""`/metrics` counts by route template for those who may read it, and names nobody."""

from __future__ import annotations

import pytest
from fastapi.testclient import TestClient
from prometheus_client.openmetrics.parser import text_string_to_metric_families

from solespan.api.app import create_app
from solespan.api.services.operation.metrics import may_read_metrics
from solespan.api.settings import Settings

TOKEN = "a token of sixteen"
BASE = "http://127.0.0.1:8000"


@pytest.fixture
def measured(new_address):
    settings = Settings(database_url=new_address, metrics_token=TOKEN)
    with TestClient(create_app(settings, background=False), base_url=BASE) as client:
        yield client


def read(client) -> dict[str, float]:
    answer = client.get("/metrics", headers={"authorization": f"Bearer {TOKEN}"})
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith("application/openmetrics-text")
    return {
        f"{sample.name}{sorted(sample.labels.items())}": sample.value
        for family in text_string_to_metric_families(answer.text)
        for sample in family.samples
    }


def test_requests_are_counted_by_template_and_sender(measured):
    assert measured.get("/v1/wearers/very-private?q=secret").status_code == 404
    assert measured.get("/no/such/very-private").status_code == 404
    found = read(measured)
    refused = "solespan_refused_total[('route', '{}'), ('sender', 'machine'), ('status', '404')]"
    assert found[refused.format("/v1/wearers/{wearer_id}")] == 1
    assert found[refused.format("none")] == 1
    counted = "solespan_request_seconds_count[('method', 'GET'), ('route', '{}')]"
    assert found[counted.format("/v1/wearers/{wearer_id}")] == 1
    assert "private" not in str(found)
    for gauge in ("outbox_age_seconds", "forecast_age_seconds"):
        assert found[f"solespan_{gauge}[]"] == 0
    assert found["solespan_database_up[]"] == 1


def test_for_strangers_there_is_no_such_address(measured):
    for headers in ({}, {"authorization": "Bearer wrong"}, {"authorization": TOKEN}):
        assert measured.get("/metrics", headers=headers).status_code == 404


@pytest.mark.parametrize(
    ("address", "forwarded", "may"),
    [
        ("127.0.0.1", False, True),
        ("127.0.0.1", True, False),  # a stranger, through a proxy of this machine
        ("10.1.2.3", False, True),
        ("11.1.2.3", False, False),
        ("testclient", False, False),
        (None, False, False),
    ],
)
def test_an_address_counts_only_without_a_proxy_between(address, forwarded, may):
    settings = Settings(metrics_from="127.0.0.1, 10.0.0.0/8")
    given = {"bearer": "", "address": address, "forwarded": forwarded}
    assert may_read_metrics(settings, **given) is may
    assert not may_read_metrics(Settings(), **given)


def test_a_refusal_before_any_route_has_its_template(new_address, capsys):
    from tests.api.service.test_logs import lines_of, logging_as_the_service_does

    settings = Settings(database_url=new_address, accounts=True, metrics_token=TOKEN)
    app = create_app(settings, background=False)
    client = TestClient(app, base_url=BASE)
    with logging_as_the_service_does():
        assert client.get("/v1/wearers/very-private").status_code == 401
        assert client.post("/wear", headers={"accept": "text/html"}).status_code == 401
    lines = [line for line in lines_of(capsys) if line["event"] == "request"]
    assert [(line["route"], line["sender"]) for line in lines] == [
        ("/v1/wearers/{wearer_id}", "stranger"),
        ("/wear", "stranger"),
    ]
    app.state.services.database.close()
