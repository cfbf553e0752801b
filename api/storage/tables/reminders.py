"""Tables of reminders.

What does the database hold of reminders to oneself: wishes, devices that take push, messages?

All of it goes when its wearer goes.
"""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import JSON, CheckConstraint, Index, Integer, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from solespan.api.storage.tables.keys import row_of
from solespan.api.storage.tables.rack import WORD_LENGTH, Base
from solespan.api.storage.tables.types import BigId, UtcDateTime
from solespan.forecast.values import ID_LENGTH, TEXT_LENGTH

__all__ = ["PushDevice", "Reminder", "ReminderMessage"]

ADDRESS_LENGTH = 500
HASH_LENGTH = 64


class Reminder(Base):
    """What a wearer wants to be reminded of, by mail to which address, and when not."""

    __tablename__ = "reminders"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    wearer_pk: Mapped[int] = row_of("wearers", unique=True)
    kinds: Mapped[list[str]] = mapped_column(JSON)
    # NULL = no mail.
    address: Mapped[str | None] = mapped_column(String(ADDRESS_LENGTH))
    quiet_from: Mapped[str] = mapped_column(String(WORD_LENGTH))
    quiet_to: Mapped[str] = mapped_column(String(WORD_LENGTH))
    # What the last reminder said, by keys; without anything new none goes out.
    told: Mapped[list[str]] = mapped_column(JSON)
    next_look_at: Mapped[datetime] = mapped_column(UtcDateTime)

    __table_args__ = (Index(None, "tenant_pk", "next_look_at"),)


class PushDevice(Base):
    """A browser that takes push messages: where its service is, and its keys (RFC 8291)."""

    __tablename__ = "push_devices"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    push_id: Mapped[str] = mapped_column(String(ID_LENGTH))
    wearer_pk: Mapped[int] = row_of("wearers")
    endpoint: Mapped[str] = mapped_column(String(TEXT_LENGTH))
    endpoint_hash: Mapped[str] = mapped_column(String(HASH_LENGTH))
    p256dh: Mapped[str] = mapped_column(String(ID_LENGTH))
    auth: Mapped[str] = mapped_column(String(ID_LENGTH))
    name: Mapped[str] = mapped_column(String(ID_LENGTH))
    made_at: Mapped[datetime] = mapped_column(UtcDateTime)

    __table_args__ = (
        UniqueConstraint("wearer_pk", "endpoint_hash"),
        UniqueConstraint("id", "tenant_pk"),
        UniqueConstraint("tenant_pk", "push_id"),
    )


class ReminderMessage(Base):
    """A reminder on its way: by mail, or to one device."""

    __tablename__ = "reminder_messages"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    wearer_pk: Mapped[int] = row_of("wearers")
    push_pk: Mapped[int | None] = row_of("push_devices")  # NULL = by mail
    message_id: Mapped[str] = mapped_column(String(ID_LENGTH))
    payload: Mapped[dict[str, Any]] = mapped_column(JSON)
    made_at: Mapped[datetime] = mapped_column(UtcDateTime)
    state: Mapped[str] = mapped_column(String(WORD_LENGTH))
    attempts: Mapped[int] = mapped_column(Integer)
    next_try_at: Mapped[datetime] = mapped_column(UtcDateTime)
    problem: Mapped[str | None] = mapped_column(String(TEXT_LENGTH))

    __table_args__ = (
        CheckConstraint("state IN ('pending', 'sent', 'failed')", name="state"),
        UniqueConstraint("tenant_pk", "message_id"),
        Index(None, "wearer_pk", "tenant_pk"),
        Index(None, "push_pk", "tenant_pk"),
        Index(None, "tenant_pk", "state", "next_try_at"),
    )
