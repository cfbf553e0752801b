"""Hook endpoint storage: which addresses of the shop's own software are told of events?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from solespan.api.storage.tables.hooks import HookEndpoint

__all__ = [
    "add_endpoint",
    "change_endpoint",
    "find_endpoint",
    "list_endpoints",
    "remove_endpoint",
]

_ENDPOINTS: sa.Table = HookEndpoint.__table__  # type: ignore[assignment]
_NAMES = ("id", "endpoint_id", "url", "kinds", "note", "active", "secret", "old_secret",
          "old_secret_until", "version", "created_at")  # fmt: skip


def _query() -> sa.Select[Any]:
    return sa.select(*(_ENDPOINTS.c[name] for name in _NAMES)).order_by(_ENDPOINTS.c.id)


def list_endpoints(session: Session) -> list[dict[str, Any]]:
    """Return every endpoint, the oldest first."""
    return [dict(row) for row in session.execute(_query()).mappings()]


def find_endpoint(
    session: Session, endpoint_id: str, *, lock: bool = False
) -> dict[str, Any] | None:
    """Return an endpoint, or None; with `lock` it stays so until commit."""
    query = _query().where(_ENDPOINTS.c.endpoint_id == endpoint_id)
    row = session.execute(query.with_for_update() if lock else query).mappings().one_or_none()
    return None if row is None else dict(row)


def add_endpoint(session: Session, values: Mapping[str, Any]) -> None:
    """Keep a new endpoint."""
    session.execute(sa.insert(_ENDPOINTS).values(**values))


def change_endpoint(
    session: Session, endpoint_pk: int, version: int, values: Mapping[str, Any]
) -> bool:
    """Change an endpoint if it still has `version`; return whether it had."""
    query = sa.update(_ENDPOINTS).where(
        _ENDPOINTS.c.id == endpoint_pk, _ENDPOINTS.c.version == version
    )
    result = session.execute(query.values(**values, version=version + 1))
    return bool(result.rowcount)  # type: ignore[attr-defined]


def remove_endpoint(session: Session, endpoint_pk: int) -> None:
    """Delete an endpoint with its events."""
    session.execute(sa.delete(_ENDPOINTS).where(_ENDPOINTS.c.id == endpoint_pk))
