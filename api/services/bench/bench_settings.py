"""Bench settings service: how does a shop read and change the choices of its bench?"""

from __future__ import annotations

from sqlalchemy.orm import Session

from solespan.api.schemas.bench.shop import BenchSettings
from solespan.api.services.shop_choices import change_choices, read_choices

__all__ = ["change_bench_settings", "read_bench_settings"]

NAME = "bench"


def read_bench_settings(session: Session) -> tuple[BenchSettings, int]:
    """Return the settings and their version; version 0 = the defaults."""
    return read_choices(session, NAME, BenchSettings())


def change_bench_settings(
    session: Session, settings: BenchSettings, versions: frozenset[int] | None
) -> int:
    """Replace the settings if they have one of `versions` (None = any); return the new version.

    Raises `StaleVersion`.
    """
    return change_choices(session, NAME, settings, versions)
