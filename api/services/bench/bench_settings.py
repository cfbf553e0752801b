"""Bench settings service: what has a shop chosen for its bench, and how long does its work take?"""

from __future__ import annotations

from sqlalchemy.orm import Session

from solespan.api.schemas.bench.shop import BenchSettings
from solespan.api.services.shop_choices import change_choices, read_choices
from solespan.api.storage.bench.load import timed_jobs
from solespan.api.storage.shop_settings import known_settings
from solespan.forecast.bench.minutes import JobMinutes, fit_minutes

__all__ = ["bench_minutes", "change_bench_settings", "read_bench_settings", "usual_minutes"]

NAME = "bench"


def read_bench_settings(session: Session) -> tuple[BenchSettings, int]:
    """Return the settings and their version; version 0 = the defaults."""
    return read_choices(session, NAME, BenchSettings())


def usual_minutes(session: Session) -> dict[str, float]:
    """Return the minutes of a usual pair that the shop set, by work; none = the standards."""
    return dict(known_settings(session, (NAME,)).get(NAME, {}).get("minutes", {}))


def bench_minutes(session: Session) -> JobMinutes:
    """Learn the minutes of each work from the newest timed jobs and what the shop set."""
    return fit_minutes(timed_jobs(session), usual_minutes(session))


def change_bench_settings(
    session: Session, settings: BenchSettings, versions: frozenset[int] | None
) -> int:
    """Replace the settings if they have one of `versions` (None = any); return the new version.

    Raises `StaleVersion`.
    """
    return change_choices(session, NAME, settings, versions)
