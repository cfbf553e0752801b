"""Device storage: which devices of a household may come in, and which codes let another one in?

Only hashes of keys and codes are kept. These tables stand outside the tenants, as browser sessions
do: a tenant is found by them.
"""

from __future__ import annotations

from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from solespan.api.storage.tables.accounts import ConnectionCode, HomeDevice

__all__ = [
    "add_code",
    "add_device",
    "find_device",
    "list_devices",
    "remove_device",
    "rename_device",
    "sweep_devices",
    "touch_device",
    "use_code",
]

_DEVICES: sa.Table = HomeDevice.__table__  # type: ignore[assignment]
_CODES: sa.Table = ConnectionCode.__table__  # type: ignore[assignment]


def add_code(session: Session, code_hash: str, tenant_pk: int, expires_at: datetime) -> None:
    """Keep a code's hash until its time is over."""
    session.execute(
        sa.insert(_CODES).values(code_hash=code_hash, tenant_pk=tenant_pk, expires_at=expires_at)
    )


def use_code(session: Session, code_hash: str, tenant_pk: int, now: datetime) -> bool:
    """Use a code up; return whether it was still good. Of two senders one gets it."""
    query = sa.delete(_CODES).where(
        _CODES.c.code_hash == code_hash, _CODES.c.tenant_pk == tenant_pk, _CODES.c.expires_at > now
    )
    return bool(session.execute(query).rowcount)  # type: ignore[attr-defined]


def add_device(
    session: Session, *, token_hash: str, tenant_pk: int, name: str, now: datetime
) -> str:
    """Let a device in; return its public id."""
    device = HomeDevice(
        token_hash=token_hash, tenant_pk=tenant_pk, name=name, made_at=now, used_at=now
    )
    session.add(device)
    session.flush()
    return device.device_id


def find_device(
    session: Session, token_hash: str, tenant_pk: int, used_after: datetime
) -> dict[str, Any] | None:
    """Return the device that holds a key and was used since a moment, else None."""
    query = sa.select(_DEVICES).where(
        _DEVICES.c.token_hash == token_hash,
        _DEVICES.c.tenant_pk == tenant_pk,
        _DEVICES.c.used_at >= used_after,
    )
    row = session.execute(query).mappings().one_or_none()
    return dict(row) if row else None


def list_devices(session: Session, tenant_pk: int) -> list[dict[str, Any]]:
    """Return the devices of a household, the one used last first."""
    query = (
        sa.select(_DEVICES)
        .where(_DEVICES.c.tenant_pk == tenant_pk)
        .order_by(_DEVICES.c.used_at.desc(), _DEVICES.c.id.desc())
    )
    return [dict(row) for row in session.execute(query).mappings()]


def rename_device(session: Session, tenant_pk: int, device_id: str, name: str) -> bool:
    """Give a device another name; return whether it is there."""
    query = sa.update(_DEVICES).where(_one(tenant_pk, device_id)).values(name=name)
    return bool(session.execute(query).rowcount)  # type: ignore[attr-defined]


def remove_device(session: Session, tenant_pk: int, device_id: str) -> bool:
    """Let a device in no more; return whether it was there."""
    query = sa.delete(_DEVICES).where(_one(tenant_pk, device_id))
    return bool(session.execute(query).rowcount)  # type: ignore[attr-defined]


def touch_device(session: Session, pk: int, now: datetime) -> None:
    """Note that a device was used."""
    session.execute(sa.update(_DEVICES).where(_DEVICES.c.id == pk).values(used_at=now))


def sweep_devices(session: Session, *, codes_before: datetime, devices_before: datetime) -> None:
    """Delete codes whose time is over, and devices that nobody used for so long."""
    session.execute(sa.delete(_CODES).where(_CODES.c.expires_at <= codes_before))
    session.execute(sa.delete(_DEVICES).where(_DEVICES.c.used_at < devices_before))


def _one(tenant_pk: int, device_id: str) -> sa.ColumnElement[bool]:
    return (_DEVICES.c.tenant_pk == tenant_pk) & (_DEVICES.c.device_id == device_id)
