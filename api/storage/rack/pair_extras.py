"""Pair extras storage: how are photographs of pairs and shared pages found and written?"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import date
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from solespan.api.storage.tables.pair_extras import PairPhoto, SharedPage
from solespan.api.storage.tables.rack import Pair, Wearer

__all__ = [
    "add_photo",
    "add_share",
    "delete_photo",
    "delete_share",
    "list_shares",
    "pair_of_photo",
    "photo_content",
    "photos_of_pair",
    "pictures_of",
    "share_of_secret",
]

_PAIRS: sa.Table = Pair.__table__  # type: ignore[assignment]
_PHOTOS: sa.Table = PairPhoto.__table__  # type: ignore[assignment]
_SHARES: sa.Table = SharedPage.__table__  # type: ignore[assignment]
_WEARERS: sa.Table = Wearer.__table__  # type: ignore[assignment]


def add_photo(session: Session, values: Mapping[str, Any]) -> None:
    """Keep a photograph."""
    session.execute(sa.insert(_PHOTOS).values(**values))


def photos_of_pair(session: Session, pair_id: str) -> list[str]:
    """Return the ids of a pair's photographs, the newest first."""
    query = sa.select(_PHOTOS.c.photo_id).select_from(_PHOTOS.join(_PAIRS))
    query = query.where(_PAIRS.c.pair_id == pair_id).order_by(_PHOTOS.c.id.desc())
    return list(session.execute(query).scalars())


def pictures_of(session: Session, pair_ids: Collection[str]) -> dict[str, str]:
    """Return the newest photograph of each of some pairs that have any."""
    query = sa.select(_PAIRS.c.pair_id, _PHOTOS.c.photo_id).select_from(_PHOTOS.join(_PAIRS))
    query = query.where(_PAIRS.c.pair_id.in_(list(pair_ids))).order_by(_PHOTOS.c.id)
    return {row[0]: row[1] for row in session.execute(query)}


def photo_content(session: Session, photo_id: str, *, small: bool) -> tuple[str, bytes] | None:
    """Return media type and bytes of a photograph, or of its small copy; None without it."""
    content = _PHOTOS.c.thumbnail if small else _PHOTOS.c.content
    query = sa.select(_PHOTOS.c.media_type, content).where(_PHOTOS.c.photo_id == photo_id)
    row = session.execute(query).one_or_none()
    return None if row is None else (row[0], row[1])


def pair_of_photo(session: Session, photo_id: str) -> str | None:
    """Return the pair a photograph is of, or None."""
    query = sa.select(_PAIRS.c.pair_id).select_from(_PHOTOS.join(_PAIRS))
    return session.execute(query.where(_PHOTOS.c.photo_id == photo_id)).scalar_one_or_none()


def delete_photo(session: Session, photo_id: str) -> None:
    """Take a photograph away."""
    session.execute(sa.delete(_PHOTOS).where(_PHOTOS.c.photo_id == photo_id))


def add_share(session: Session, values: Mapping[str, Any]) -> None:
    """Keep a shared page."""
    session.execute(sa.insert(_SHARES).values(**values))


def _share_query() -> sa.Select[Any]:
    columns = [_SHARES.c[name] for name in ("share_id", "reader", "made_at", "expires_on")]
    source = _SHARES.join(_WEARERS, _SHARES.c.wearer_pk == _WEARERS.c.id)
    source = source.outerjoin(_PAIRS, _SHARES.c.pair_pk == _PAIRS.c.id)
    names = (_WEARERS.c.wearer_id, _WEARERS.c.time_zone, _PAIRS.c.pair_id, _PAIRS.c.label)
    return sa.select(*columns, *names, _SHARES.c.pair_pk).select_from(source)


def list_shares(session: Session, wearer_id: str) -> list[dict[str, Any]]:
    """List the shared pages of a wearer, the newest first."""
    query = _share_query().where(_WEARERS.c.wearer_id == wearer_id).order_by(_SHARES.c.id.desc())
    return [dict(row) for row in session.execute(query).mappings()]


def share_of_secret(session: Session, secret_hash: str, today: date) -> dict[str, Any] | None:
    """Return the shared page that a secret opens on a day, or None."""
    query = _share_query().where(_SHARES.c.secret_hash == secret_hash)
    row = session.execute(query.where(_SHARES.c.expires_on >= today)).mappings().one_or_none()
    return None if row is None else dict(row)


def delete_share(session: Session, share_id: str) -> bool:
    """End a shared page; return whether it was there."""
    result = session.execute(sa.delete(_SHARES).where(_SHARES.c.share_id == share_id))
    return bool(result.rowcount)  # type: ignore[attr-defined]
