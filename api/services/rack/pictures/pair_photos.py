"""Pair photographs service: how is a picture of a pair kept, made small, and taken away?

The picture is decoded and encoded again, so nothing is left of place, time and device. One that
has more pixels than a large camera makes is refused before it is decoded.
"""

from __future__ import annotations

import hashlib
from io import BytesIO
from typing import Any

from PIL import Image, ImageOps, UnidentifiedImageError
from sqlalchemy.orm import Session

from solespan.api.errors import Conflict, NotFound, Refused
from solespan.api.services.rack.pictures.photo_metadata import without_metadata
from solespan.api.services.unknown_id import unknown_id
from solespan.api.storage.rack import pair_extras as stored
from solespan.api.storage.rack.pair_extras import photo_content
from solespan.api.storage.rack.records import find_record, owner_of
from solespan.api.storage.scope import name_changed

__all__ = ["MOST_OF_PAIR", "keep_photo", "photo_content", "photos_seen", "remove_photo"]

MOST_OF_PAIR = 6
MOST_PIXELS = 60_000_000
KEPT_PX = (1600, 1200)
SMALL_PX = (224, 168)  # 4:3, four times the place it has in a list
QUALITY = 82


def photos_seen(session: Session, pair_id: str) -> tuple[dict[str, Any], list[str]]:
    """Return a pair's record and the ids of its photographs. Raises `NotFound`."""
    record = find_record(session, "pairs", {"pair_id": pair_id})
    if record is None:
        raise unknown_id(session, "pairs", "pair_id", pair_id)
    return dict(record), stored.photos_of_pair(session, pair_id)


def keep_photo(session: Session, pair_id: str, content: bytes) -> dict[str, Any]:
    """Keep a photograph of a pair; the same one is kept once.

    Raises `NotFound`, `TooLarge`, `Refused` for what is no picture, and `Conflict` where the pair
    has as many as are kept.
    """
    owner = owner_of(session, "pair_id", pair_id, lock=True)
    if owner is None or owner.pair_pk is None:
        raise unknown_id(session, "pairs", "pair_id", pair_id)
    without_metadata(content)  # refuses what is too large, or neither JPEG nor PNG
    picture, small = _made_anew(content)
    photo_id = hashlib.sha256(b"\x00".join((pair_id.encode(), picture))).hexdigest()[:32]
    kept = stored.photos_of_pair(session, pair_id)
    if photo_id in kept:
        return {"photo_id": photo_id, "pair_id": pair_id}
    if len(kept) >= MOST_OF_PAIR:
        raise Conflict(
            f"The pair has {MOST_OF_PAIR} photographs already.",
            where="file",
            remedy="Take one away first.",
        )
    name_changed(photo_id=photo_id, pair_id=pair_id)
    values = {"photo_id": photo_id, "pair_pk": owner.pair_pk, "media_type": "image/jpeg"}
    stored.add_photo(session, values | {"content": picture, "thumbnail": small})
    return {"photo_id": photo_id, "pair_id": pair_id}


def remove_photo(session: Session, photo_id: str) -> str:
    """Take a photograph away; return the pair it was of. Raises `NotFound`."""
    pair_id = stored.pair_of_photo(session, photo_id)
    if pair_id is None:
        raise NotFound(
            "There is no such photograph.",
            where="photo_id",
            remedy="Open the pair again: someone may have taken it away.",
        )
    name_changed(photo_id=photo_id, pair_id=pair_id)
    stored.delete_photo(session, photo_id)
    return pair_id


def _made_anew(content: bytes) -> tuple[bytes, bytes]:
    """Return the picture, upright and no larger than is kept, and its small copy."""
    try:
        with Image.open(BytesIO(content), formats=("JPEG", "PNG")) as opened:
            if opened.width * opened.height > MOST_PIXELS:
                raise _unreadable()
            upright = ImageOps.exif_transpose(opened).convert("RGB")
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError):
        raise _unreadable() from None
    small = ImageOps.fit(upright, SMALL_PX)
    upright.thumbnail(KEPT_PX)
    return _jpeg(upright), _jpeg(small)


def _jpeg(image: Image.Image) -> bytes:
    out = BytesIO()
    image.save(out, "JPEG", quality=QUALITY, optimize=True)
    return out.getvalue()


def _unreadable() -> Refused:
    return Refused(
        "The picture cannot be read.",
        where="file",
        accepted=f"a JPEG or PNG of up to {MOST_PIXELS // 1_000_000} million pixels",
        remedy="Save it again as JPEG and send that.",
    )
