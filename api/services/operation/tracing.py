"""Tracing: where do spans of requests go, and what stands in them?

Only the extra `telemetry` brings OpenTelemetry along, and only a setting turns it on.
"""

from __future__ import annotations

import threading
from importlib.metadata import version
from typing import Any

from solespan.api.errors import BadSetting

__all__ = ["end_tracing", "make_tracing"]

LONGEST_END_S = 3.0


def make_tracing(address: str) -> Any:
    """Return a provider of tracers that send spans to a collector by OTLP over HTTP.

    Raises `BadSetting` where the extra is not installed.
    """
    try:
        from opentelemetry.exporter.otlp.proto.http.trace_exporter import (  # noqa: PLC0415 - an extra
            OTLPSpanExporter,
        )
        from opentelemetry.sdk.resources import Resource  # noqa: PLC0415
        from opentelemetry.sdk.trace import TracerProvider  # noqa: PLC0415
        from opentelemetry.sdk.trace.export import BatchSpanProcessor  # noqa: PLC0415
    except ModuleNotFoundError:
        raise BadSetting(
            "OpenTelemetry is not installed.",
            where="environment variable SOLESPAN_TELEMETRY_ADDRESS",
            accepted="unset, or an address where the extra is installed",
            remedy="Install the extra: pip install 'solespan[telemetry]'",
        ) from None
    about = {"service.name": "solespan", "service.version": version("solespan")}
    provider = TracerProvider(resource=Resource.create(about))
    provider.add_span_processor(BatchSpanProcessor(OTLPSpanExporter(endpoint=address)))
    return provider


def end_tracing(provider: Any) -> None:
    """Send what waits; a collector that does not answer holds nobody up for long."""
    ending = threading.Thread(target=provider.shutdown, daemon=True)
    ending.start()
    ending.join(LONGEST_END_S)
