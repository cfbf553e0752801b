"""How does a shop read and change the choices of its bench?"""

from __future__ import annotations

from sqlalchemy.orm import Session

from api.errors import StaleVersion
from api.schemas.shop import BenchSettings
from api.storage.shop_settings import find_setting, put_setting

__all__ = ["change_bench_settings", "read_bench_settings"]

NAME = "bench"


def read_bench_settings(session: Session) -> tuple[BenchSettings, int]:
    """Return the settings and their version; version 0 = the defaults."""
    found = find_setting(session, NAME)
    if found is None:
        return BenchSettings(), 0
    return BenchSettings.model_validate(found[0]), found[1]


def change_bench_settings(
    session: Session, settings: BenchSettings, versions: frozenset[int] | None
) -> int:
    """Replace the settings if they have one of `versions` (None = any); return the new version.

    Raises `StaleVersion`.
    """
    _, version = read_bench_settings(session)
    known = versions is None or version in versions
    if not known or not put_setting(session, NAME, settings.model_dump(mode="json"), version):
        raise StaleVersion(
            "The bench's settings have changed since they were read.",
            where="header If-Match",
            accepted="the ETag of the stored settings",
            remedy="Read them again and decide again.",
        )
    return version + 1
