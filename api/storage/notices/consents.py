"""Consents storage.

Who agreed to be written to, by which channel, and which addresses take no notices?
"""

from __future__ import annotations

import hashlib
from collections.abc import Collection
from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from solespan.api.channels import CHANNELS
from solespan.api.storage.tables.notices import Consent, StoppedAddress
from solespan.api.storage.tables.rack import Wearer

__all__ = [
    "address_at",
    "address_hash",
    "anybody_agreed",
    "consents_of",
    "give_consent",
    "held_consents",
    "is_stopped",
    "last_withdrawn_at",
    "lift_stop",
    "load_consents",
    "load_stopped",
    "never_asked",
    "stop_address",
    "wearers_at",
    "withdraw_consent",
]

_CONSENTS: sa.Table = Consent.__table__  # type: ignore[assignment]
_STOPPED: sa.Table = StoppedAddress.__table__  # type: ignore[assignment]


def address_hash(address: str) -> str:
    """Return what is kept of an address: the case of its letters does not count."""
    return hashlib.sha256(address.strip().lower().encode()).hexdigest()


def load_consents(session: Session) -> dict[int, dict[str, str | None]]:
    """Return the channels that hold for each customer's number, with the address kept there."""
    columns = (_CONSENTS.c.wearer_pk, _CONSENTS.c.channel, _CONSENTS.c.address)
    query = sa.select(*columns).where(_CONSENTS.c.withdrawn_at.is_(None))
    found: dict[int, dict[str, str | None]] = {}
    for wearer_pk, channel, address in session.execute(query):
        found.setdefault(wearer_pk, {})[channel] = address
    return found


def anybody_agreed(session: Session) -> tuple[bool, bool]:
    """Whether there is a customer, and whether one agreed to be written to."""
    held = sa.select(_CONSENTS.c.id).where(_CONSENTS.c.withdrawn_at.is_(None)).exists()
    row = session.execute(sa.select(sa.select(Wearer.id).exists(), held)).one()
    return bool(row[0]), bool(row[1])


def consents_of(session: Session, wearer_id: str | None, limit: int) -> list[dict[str, Any]]:
    """Return consents, of one customer or of all, newest first."""
    columns = [c for c in _CONSENTS.c if c.name not in ("id", "wearer_pk", "tenant_pk")]
    query = sa.select(Wearer.wearer_id, *columns).join(Wearer, _CONSENTS.c.wearer_pk == Wearer.id)
    if wearer_id is not None:
        query = query.where(Wearer.wearer_id == wearer_id)
    query = query.order_by(_CONSENTS.c.id.desc()).limit(limit)
    return [dict(row) for row in session.execute(query).mappings()]


def give_consent(session: Session, wearer_pk: int, channel: str, **given: Any) -> bool:
    """Write a consent unless one holds; return whether it is new. The caller holds the wearer.

    Of one that holds, only the address is replaced.
    """
    holds = sa.select(_CONSENTS.c.id).where(
        _CONSENTS.c.wearer_pk == wearer_pk,
        _CONSENTS.c.channel == channel,
        _CONSENTS.c.withdrawn_at.is_(None),
    )
    held = session.execute(holds).first()
    if held is not None:
        if given.get("address"):
            query = sa.update(_CONSENTS).where(_CONSENTS.c.id == held[0])
            session.execute(query.values(address=given["address"]))
        return False
    session.execute(sa.insert(_CONSENTS).values(wearer_pk=wearer_pk, channel=channel, **given))
    return True


def never_asked(session: Session, channel: str) -> list[dict[str, Any]]:
    """Return `wearer_pk`, `email` and `phone` of customers without any consent by a channel.

    One that was withdrawn counts: who said no is not among them.
    """
    asked = sa.select(_CONSENTS.c.wearer_pk).where(_CONSENTS.c.channel == channel)
    columns = (Wearer.id.label("wearer_pk"), Wearer.email, Wearer.phone)
    query = sa.select(*columns).where(Wearer.id.not_in(asked)).order_by(Wearer.id)
    return [dict(row) for row in session.execute(query).mappings()]


def last_withdrawn_at(session: Session, wearer_pk: int, channel: str) -> datetime | None:
    """Return when a consent to this channel was last withdrawn, or None."""
    query = sa.select(sa.func.max(_CONSENTS.c.withdrawn_at)).where(
        _CONSENTS.c.wearer_pk == wearer_pk, _CONSENTS.c.channel == channel
    )
    moment: datetime | None = session.execute(query).scalar()
    return moment


def withdraw_consent(
    session: Session, wearer_pk: int, channel: str, at: datetime, how: str
) -> bool:
    """End the consent that holds, and forget its address; return whether one did."""
    query = sa.update(_CONSENTS).where(
        _CONSENTS.c.wearer_pk == wearer_pk,
        _CONSENTS.c.channel == channel,
        _CONSENTS.c.withdrawn_at.is_(None),
    )
    result = session.execute(query.values(withdrawn_at=at, withdrawn_how=how, address=None))
    return bool(result.rowcount)  # type: ignore[attr-defined]


def stop_address(session: Session, address: str, reason: str, at: datetime) -> bool:
    """Stop an address; return whether it was not stopped before."""
    if is_stopped(session, address):
        return False
    values = {"address_hash": address_hash(address), "reason": reason, "at": at}
    try:
        with session.begin_nested():
            session.execute(sa.insert(_STOPPED).values(**values))
    except IntegrityError:  # another worker learnt it just now
        return False
    return True


def lift_stop(session: Session, address: str) -> bool:
    """Let an address be written to again; return whether it was stopped."""
    query = sa.delete(_STOPPED).where(_STOPPED.c.address_hash == address_hash(address))
    return bool(session.execute(query).rowcount)  # type: ignore[attr-defined]


def is_stopped(session: Session, address: str) -> bool:
    """Whether an address is stopped."""
    query = sa.select(_STOPPED.c.id).where(_STOPPED.c.address_hash == address_hash(address))
    return session.execute(query).first() is not None


def load_stopped(session: Session, hashes: Collection[str] | None = None) -> dict[str, str]:
    """Return the reason for each stopped address, by its hash."""
    query = sa.select(_STOPPED.c.address_hash, _STOPPED.c.reason)
    if hashes is not None:
        query = query.where(_STOPPED.c.address_hash.in_(list(hashes)))
    return {row[0]: row[1] for row in session.execute(query)}


def wearers_at(session: Session, channel: str, address: str) -> list[int]:
    """Return the numbers of the customers whom this channel reaches at this address."""
    same = address.strip().lower()
    if CHANNELS[channel].address.kept == "wearer":
        query = sa.select(Wearer.id).where(sa.func.lower(Wearer.email) == same)
    else:
        query = sa.select(_CONSENTS.c.wearer_pk).where(
            _CONSENTS.c.channel == channel,
            _CONSENTS.c.withdrawn_at.is_(None),
            sa.func.lower(_CONSENTS.c.address) == same,
        )
    return list(session.execute(query).scalars())


def address_at(session: Session, wearer_pk: int, channel: str) -> str | None:
    """Return where this channel writes to a customer, or None where it is not known."""
    if CHANNELS[channel].address.kept == "wearer":
        query = sa.select(Wearer.email).where(Wearer.id == wearer_pk)
    else:
        query = sa.select(_CONSENTS.c.address).where(
            _CONSENTS.c.wearer_pk == wearer_pk,
            _CONSENTS.c.channel == channel,
            _CONSENTS.c.withdrawn_at.is_(None),
        )
    return session.execute(query).scalar_one_or_none()


def held_consents(
    session: Session, wearer_ids: Collection[str]
) -> dict[str, dict[str, dict[str, Any]]]:
    """Return the consents that hold of some customers, by channel: when, how, and who took it."""
    query = (
        sa.select(
            Wearer.wearer_id,
            _CONSENTS.c.channel,
            _CONSENTS.c.given_at,
            _CONSENTS.c.given_how,
            _CONSENTS.c.given_by,
            _CONSENTS.c.address,
        )
        .join(Wearer, _CONSENTS.c.wearer_pk == Wearer.id)
        .where(Wearer.wearer_id.in_(list(wearer_ids)), _CONSENTS.c.withdrawn_at.is_(None))
    )
    found: dict[str, dict[str, dict[str, Any]]] = {}
    for row in session.execute(query).mappings():
        found.setdefault(row["wearer_id"], {})[row["channel"]] = dict(row)
    return found
