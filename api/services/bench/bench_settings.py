"""Bench settings service: how does a shop read and change the choices of its bench?"""

from __future__ import annotations

from sqlalchemy.orm import Session

from solespan.api.schemas.bench.shop import BenchSettings
from solespan.api.services.shop_choices import change_choices, read_choices
from solespan.api.storage.shop_settings import known_settings

__all__ = ["change_bench_settings", "read_bench_settings", "usual_minutes"]

NAME = "bench"


def read_bench_settings(session: Session) -> tuple[BenchSettings, int]:
    """Return the settings and their version; version 0 = the defaults."""
    return read_choices(session, NAME, BenchSettings())


def usual_minutes(session: Session) -> dict[str, float]:
    """Return the minutes of a usual pair that the shop set, by work; none = the standards."""
    return dict(known_settings(session, (NAME,)).get(NAME, {}).get("minutes", {}))


def change_bench_settings(
    session: Session, settings: BenchSettings, versions: frozenset[int] | None
) -> int:
    """Replace the settings if they have one of `versions` (None = any); return the new version.

    Raises `StaleVersion`.
    """
    return change_choices(session, NAME, settings, versions)
