"""Tables of bookings: which mails does a booked day send, and where are they?

A message goes when its customer goes. It stays when its order is deleted, so that a calendar can be
told. Its identifier is also what a customer's link names.
"""

from __future__ import annotations

from datetime import date, datetime
from typing import Any
from uuid import uuid4

from sqlalchemy import JSON, CheckConstraint, Index, Integer, String
from sqlalchemy.orm import Mapped, mapped_column

from solespan.api.storage.tables.keys import row_of
from solespan.api.storage.tables.rack import WORD_LENGTH, Base
from solespan.api.storage.tables.types import BigId, UtcDateTime
from solespan.forecast.values import ID_LENGTH, TEXT_LENGTH

__all__ = ["BookingMessage"]


class BookingMessage(Base):
    """A confirmation, a cancellation or a reminder of a booked day, on its way to the customer."""

    __tablename__ = "booking_messages"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    wearer_pk: Mapped[int] = row_of("wearers")  # who was told
    order_pk: Mapped[int | None] = row_of("bench_orders", emptied=True)
    order_id: Mapped[str] = mapped_column(String(ID_LENGTH))
    message_id: Mapped[str] = mapped_column(
        String(ID_LENGTH), unique=True, default=lambda: uuid4().hex
    )
    kind: Mapped[str] = mapped_column(String(WORD_LENGTH))
    # Counts the changes that a calendar was told of (RFC 5545, 3.8.7.4).
    sequence: Mapped[int] = mapped_column(Integer)
    day: Mapped[date]
    payload: Mapped[dict[str, Any]] = mapped_column(JSON)
    made_at: Mapped[datetime] = mapped_column(UtcDateTime)
    state: Mapped[str] = mapped_column(String(WORD_LENGTH))
    attempts: Mapped[int] = mapped_column(Integer)
    next_try_at: Mapped[datetime] = mapped_column(UtcDateTime)
    problem: Mapped[str | None] = mapped_column(String(TEXT_LENGTH))

    __table_args__ = (
        CheckConstraint("kind IN ('request', 'cancel', 'reminder')", name="kind"),
        CheckConstraint("state IN ('pending', 'sent', 'failed', 'cancelled')", name="state"),
        # An order's messages are read together; workers look for what is due.
        Index(None, "tenant_pk", "order_id", "id"),
        Index(None, "order_pk", "tenant_pk"),
        Index(None, "wearer_pk", "tenant_pk"),
        Index(None, "tenant_pk", "state", "next_try_at"),
    )
