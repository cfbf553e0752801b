"""Tables of pair extras: what does the database hold of photographs and of shared pages?"""

from __future__ import annotations

from datetime import date, datetime
from uuid import uuid4

from sqlalchemy import CheckConstraint, Index, LargeBinary, String
from sqlalchemy.orm import Mapped, mapped_column

from solespan.api.storage.tables.keys import row_of
from solespan.api.storage.tables.rack import WORD_LENGTH, Base, _utc_now
from solespan.api.storage.tables.types import BigId, UtcDateTime
from solespan.forecast.values import ID_LENGTH, TEXT_LENGTH

__all__ = ["PairPhoto", "SharedPage"]


def _public_id() -> str:
    return uuid4().hex


class PairPhoto(Base):
    """A photograph of a pair without its metadata, and a small copy for lists."""

    __tablename__ = "pair_photos"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    photo_id: Mapped[str] = mapped_column(String(ID_LENGTH), unique=True, default=_public_id)
    pair_pk: Mapped[int] = row_of("pairs")
    taken_in: Mapped[datetime] = mapped_column(UtcDateTime, default=_utc_now)
    media_type: Mapped[str] = mapped_column(String(WORD_LENGTH))
    content: Mapped[bytes] = mapped_column(LargeBinary)
    thumbnail: Mapped[bytes] = mapped_column(LargeBinary)

    __table_args__ = (
        CheckConstraint("media_type IN ('image/jpeg')", name="media_type"),
        # A pair's newest photograph is its picture.
        Index(None, "pair_pk", "id"),
    )


class SharedPage(Base):
    """A page of a rack, or of one pair, that a repairer may look at with a link.

    Only the hash of the link's secret is kept. `pair_pk` NULL = all pairs.
    """

    __tablename__ = "shared_pages"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    share_id: Mapped[str] = mapped_column(String(ID_LENGTH), unique=True, default=_public_id)
    wearer_pk: Mapped[int] = row_of("wearers")
    pair_pk: Mapped[int | None] = row_of("pairs")
    secret_hash: Mapped[str] = mapped_column(String(64), unique=True)
    reader: Mapped[str | None] = mapped_column(String(TEXT_LENGTH))
    made_at: Mapped[datetime] = mapped_column(UtcDateTime, default=_utc_now)
    expires_on: Mapped[date]

    __table_args__ = (Index(None, "wearer_pk"), Index(None, "pair_pk", "tenant_pk"))
