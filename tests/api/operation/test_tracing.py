"""Traces are off unless set, and a span names a route, never a person."""

from __future__ import annotations

import pytest
from fastapi.testclient import TestClient

from solespan.api import app as assembly
from solespan.api.errors import BadSetting
from solespan.api.services.operation.tracing import make_tracing
from solespan.api.settings import Settings

ADDRESS = "http://127.0.0.1:9/v1/traces"


def test_a_span_has_method_template_and_status(new_address, monkeypatch):
    trace = pytest.importorskip("opentelemetry.sdk.trace")
    from opentelemetry.sdk.trace.export import SimpleSpanProcessor
    from opentelemetry.sdk.trace.export.in_memory_span_exporter import InMemorySpanExporter

    kept = InMemorySpanExporter()
    provider = trace.TracerProvider(shutdown_on_exit=False)
    provider.add_span_processor(SimpleSpanProcessor(kept))
    monkeypatch.setattr(assembly, "make_tracing", lambda _: provider)
    settings = Settings(database_url=new_address, telemetry_address=ADDRESS)
    app = assembly.create_app(settings, background=False)
    TestClient(app, base_url="http://127.0.0.1:8000").get("/v1/wearers/very-private?q=private")
    app.state.services.database.close()
    (span,) = kept.get_finished_spans()
    assert span.name == "GET /v1/wearers/{wearer_id}"
    assert dict(span.attributes) == {
        "http.request.method": "GET",
        "http.route": "/v1/wearers/{wearer_id}",
        "http.response.status_code": 404,
    }
    assert "private" not in span.to_json()


def test_a_missing_extra_is_named(monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "opentelemetry.sdk.resources", None)
    with pytest.raises(BadSetting, match="not installed") as caught:
        make_tracing(ADDRESS)
    assert "solespan[telemetry]" in caught.value.remedy
