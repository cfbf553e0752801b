"""Metrics: how fast does the service answer, what does it refuse, and how old is its work?

Labels are route templates, methods, status codes and kinds of sender: never a tenant, an id or a
person. Figures of the database are of all tenants together, and measured at most once a minute.
"""

from __future__ import annotations

import hmac
import threading
import time
from collections.abc import Iterator
from datetime import datetime, timedelta
from importlib.metadata import version
from ipaddress import ip_address, ip_network
from pathlib import Path

from prometheus_client import CollectorRegistry, Counter, Histogram
from prometheus_client.core import GaugeMetricFamily
from prometheus_client.metrics_core import InfoMetricFamily, Metric
from prometheus_client.openmetrics.exposition import CONTENT_TYPE_LATEST, generate_latest
from prometheus_client.registry import Collector

from solespan.api.errors import SolespanError
from solespan.api.services.context import AppContext
from solespan.api.settings import Settings
from solespan.api.storage.backup.folder import backups_in
from solespan.api.storage.health import measure

__all__ = ["CONTENT_TYPE_LATEST", "Metrics", "may_read_metrics"]

METHODS = frozenset({"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"})
MEASURE_EVERY_S = 60.0
REST_FACTOR = 20  # measuring takes at most a twentieth of the time
FAILED_WITHIN = timedelta(days=1)
BUCKETS_S = (0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 10.0)


class Metrics:
    """The figures of one running service."""

    def __init__(self) -> None:
        self._registry = CollectorRegistry()
        self._seconds = Histogram(
            "solespan_request_seconds",
            "Time to answer a request.",
            ("method", "route"),
            buckets=BUCKETS_S,
            registry=self._registry,
        )
        self._refused = Counter(
            "solespan_refused",
            "Requests that were refused (status 4xx).",
            ("route", "status", "sender"),
            registry=self._registry,
        )
        self._failed = Counter(
            "solespan_failed",
            "Requests that failed (status 5xx, or no answer).",
            ("route",),
            registry=self._registry,
        )
        self._work = _WorkCollector()
        self._registry.register(self._work)

    def observe(self, *, method: str, route: str, status: int, sender: str, seconds: float) -> None:
        """Count one answered request."""
        route = route or "none"
        self._seconds.labels(method if method in METHODS else "other", route).observe(seconds)
        if 400 <= status < 500:
            self._refused.labels(route, str(status), sender).inc()
        elif status >= 500 or not status:
            self._failed.labels(route).inc()

    def text(self, ctx: AppContext) -> bytes:
        """Return every figure as OpenMetrics text."""
        self._work.measure(ctx)
        return bytes(generate_latest(self._registry))  # type: ignore[no-untyped-call]


class _WorkCollector(Collector):
    """Figures of the database and the backups, as they were last measured."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._next_at = 0.0
        self._gauges: dict[str, tuple[str, float]] = {}
        self._failed: dict[str, int] = {}

    def measure(self, ctx: AppContext) -> None:
        """Measure again, unless that was done a short time ago or is being done."""
        if time.monotonic() < self._next_at or not self._lock.acquire(blocking=False):
            return
        try:
            began = time.monotonic()
            self._gauges, self._failed = _figures(ctx)
            took = time.monotonic() - began
            self._next_at = time.monotonic() + max(MEASURE_EVERY_S, REST_FACTOR * took)
        finally:
            self._lock.release()

    def collect(self) -> Iterator[Metric]:
        """Yield what was measured."""
        yield InfoMetricFamily("solespan", "The program.", {"version": version("solespan")})
        for name, (meaning, value) in self._gauges.items():
            yield GaugeMetricFamily(name, meaning, value)
        failed = GaugeMetricFamily(
            "solespan_notices_failed", "Notices that failed within a day.", labels=("channel",)
        )
        for channel, count in self._failed.items():
            failed.add_metric((channel,), count)
        yield failed


def _figures(ctx: AppContext) -> tuple[dict[str, tuple[str, float]], dict[str, int]]:
    now = ctx.clock.now()
    gauges: dict[str, tuple[str, float]] = {}
    failed: dict[str, int] = {}
    due_at: list[datetime] = []
    forecast_on = []
    answers = 1.0
    try:
        for shop in ctx.each_tenant():
            with shop.database.reading() as session:
                found = measure(session, now=now, failed_since=now - FAILED_WITHIN)
            due_at += [found.oldest_due_at] if found.oldest_due_at else []
            forecast_on += [found.oldest_forecast] if found.oldest_forecast else []
            for channel, count in found.failed.items():
                failed[channel] = failed.get(channel, 0) + count
    except SolespanError:
        answers = 0.0
    gauges["solespan_database_up"] = ("Whether the database answers.", answers)
    if answers:
        age = (now - min(due_at)).total_seconds() if due_at else 0.0
        gauges["solespan_outbox_age_seconds"] = ("Age of the oldest notice that is due.", age)
        days = (ctx.clock.today() - min(forecast_on)).days if forecast_on else 0
        said = "Age of the oldest forecast, in whole days."
        gauges["solespan_forecast_age_seconds"] = (said, days * 86_400.0)
    newest = _newest_backup(ctx.settings)
    if newest is not None:
        age = (now - newest).total_seconds()
        gauges["solespan_backup_age_seconds"] = ("Age of the newest backup.", age)
    return gauges, failed


def _newest_backup(settings: Settings) -> datetime | None:
    if settings.backup_folder is None:
        return None
    try:
        return max(backups_in(Path(settings.backup_folder)).values(), default=None)
    except SolespanError:
        return None


def may_read_metrics(
    settings: Settings, *, bearer: str, address: str | None, forwarded: bool
) -> bool:
    """Say whether this sender may read metrics: by the token, or by an address that is listed.

    A request that a proxy passed on has the proxy's address, so its address does not count.
    """
    token = settings.metrics_token
    if token is not None and hmac.compare_digest(
        bearer.encode(), token.get_secret_value().encode()
    ):
        return True
    if forwarded or address is None:
        return False
    listed = [part.strip() for part in settings.metrics_from.split(",") if part.strip()]
    try:
        return any(ip_address(address) in ip_network(network) for network in listed)
    except ValueError:
        return False
