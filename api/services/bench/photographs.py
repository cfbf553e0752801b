"""Photographs service.

How are an order's photographs kept and taken away, so that the audit says both?
"""

from __future__ import annotations

import hashlib
from typing import Any

from sqlalchemy.orm import Session

from solespan.api.errors import Conflict, NotFound
from solespan.api.services.bench.found_orders import found_order
from solespan.api.services.rack.pictures.photo_metadata import without_metadata
from solespan.api.storage.bench import orders as stored
from solespan.api.storage.bench.orders import find_photo
from solespan.api.storage.scope import name_changed

__all__ = ["MOST_PHOTOGRAPHS", "find_photo", "keep_photograph", "remove_photograph"]

MOST_PHOTOGRAPHS = 40


def keep_photograph(
    session: Session, order_id: str, content: bytes, caption: str | None
) -> dict[str, Any]:
    """Attach a photograph to an order, without its metadata; the same picture is kept once.

    Raises `NotFound`, `TooLarge`, `Refused` for what is no picture, and `Conflict` when the order
    has as many as are kept.
    """
    media_type, picture = without_metadata(content)
    order = found_order(session, order_id, lock=True)
    photo_id = hashlib.sha256(b"\x00".join((order_id.encode(), picture))).hexdigest()[:32]
    told = {"photo_id": photo_id, "media_type": media_type, "caption": caption or None}
    if stored.find_photo(session, photo_id) is not None:
        return told
    if stored.count_photos(session, order["id"]) >= MOST_PHOTOGRAPHS:
        raise Conflict(
            f"The order has {MOST_PHOTOGRAPHS} photographs already.",
            where="order_id",
            remedy="Take away the least useful ones.",
        )
    name_changed(photo_id=photo_id, order_id=order_id)
    stored.add_photo(session, told | {"order_pk": order["id"], "content": picture})
    _write_down(session, order, {"photograph": "added", "caption": caption or None})
    return told


def remove_photograph(session: Session, photo_id: str) -> str:
    """Take a photograph away; return the order it was of. Raises `NotFound`."""
    whose = stored.order_of_photo(session, photo_id)
    if whose is None:
        raise NotFound(
            "There is no such photograph.",
            where="photo_id",
            remedy="Read the order again: someone may have taken it away.",
        )
    order_id, caption = whose
    order = found_order(session, order_id, lock=True)
    if stored.delete_photo(session, photo_id):
        _write_down(session, order, {"photograph": "taken away", "caption": caption})
    return order_id


def _write_down(session: Session, order: dict[str, Any], details: dict[str, Any]) -> None:
    stage = order["stage"]
    stored.add_event(
        session, order["id"], from_stage=stage, to_stage=stage, worker=None, details=details
    )
