"""Tables of notices.

What does the database hold of notices: decisions, the outbox, consents, addresses stopped?

A notice, its pairs and its outbox row are written in the transaction that decides it. The unique
key of `NoticePair` is what keeps two runs from telling a customer the same thing twice. Everything
but the stopped addresses, of which only a hash is kept, goes when its wearer goes.
"""

from __future__ import annotations

from datetime import date, datetime
from typing import Any
from uuid import uuid4

from sqlalchemy import JSON, CheckConstraint, Index, Integer, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

import solespan.api.storage.tables.hooks  # noqa: F401 - their tables belong to notices
from solespan.api.storage.tables.keys import row_of
from solespan.api.storage.tables.rack import WORD_LENGTH, Base, _utc_now
from solespan.api.storage.tables.types import BigId, UtcDateTime
from solespan.forecast.values import ID_LENGTH, TEXT_LENGTH

__all__ = [
    "ANSWERS",
    "ENDING_ANSWERS",
    "STATES",
    "Consent",
    "Notice",
    "NoticePair",
    "Outbox",
    "StoppedAddress",
]

STATES = ("pending", "claimed", "sent", "failed", "cancelled")
ANSWERS = ("booked", "declined", "elsewhere", "checked")
ENDING_ANSWERS = ("declined", "elsewhere")  # after these a sole is written about no more
HASH_LENGTH = 64
ADDRESS_LENGTH = 500


def _one_of(column: str, words: tuple[str, ...]) -> CheckConstraint:
    listed = ", ".join(f"'{word}'" for word in words)
    return CheckConstraint(f"{column} IN ({listed})", name=column)


class Notice(Base):
    """What was decided to tell one customer on one day, about one or several pairs."""

    __tablename__ = "notices"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    notice_id: Mapped[str] = mapped_column(String(32), unique=True, default=lambda: uuid4().hex)
    wearer_pk: Mapped[int] = row_of("wearers")
    decided_at: Mapped[datetime] = mapped_column(UtcDateTime, default=_utc_now)
    decided_on: Mapped[date]
    sequence: Mapped[int] = mapped_column(Integer)

    __table_args__ = (
        CheckConstraint("sequence IN (1, 2)", name="sequence"),
        # When a customer was last written to is asked at every decision.
        Index(None, "wearer_pk", "tenant_pk", "decided_on"),
        # Listed newest first.
        UniqueConstraint("tenant_pk", "id"),
    )


class NoticePair(Base):
    """One pair in a notice: which window of which sole, counted to which day, and the answer."""

    __tablename__ = "notice_pairs"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    notice_pk: Mapped[int] = row_of("notices")
    pair_pk: Mapped[int] = row_of("pairs")
    place: Mapped[int] = mapped_column(Integer)
    foot: Mapped[str] = mapped_column(String(WORD_LENGTH))
    sole_id: Mapped[str] = mapped_column(String(ID_LENGTH))
    window: Mapped[int] = mapped_column(Integer)
    sequence: Mapped[int] = mapped_column(Integer)
    why: Mapped[str] = mapped_column(String(WORD_LENGTH))
    told_day: Mapped[date]
    answer: Mapped[str | None] = mapped_column(String(WORD_LENGTH))
    answered_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    seen_at: Mapped[datetime | None] = mapped_column(UtcDateTime)

    __table_args__ = (
        _one_of("answer", ANSWERS),
        CheckConstraint("sequence IN (1, 2)", name="sequence"),
        # Nobody is told the same twice; the index also finds what a pair was told.
        UniqueConstraint("pair_pk", "foot", "sole_id", "window", "sequence"),
        UniqueConstraint("notice_pk", "tenant_pk", "place"),
        # What was told is read for all pairs at once.
        Index(None, "tenant_pk", "pair_pk"),
        # The newest answers are on the page of the shop's day.
        Index(None, "tenant_pk", "answered_at"),
    )


class Outbox(Base):
    """A notice on its way by one channel: what is sent, and where it is."""

    __tablename__ = "outbox"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    notice_pk: Mapped[int] = row_of("notices")
    channel: Mapped[str] = mapped_column(String(WORD_LENGTH))
    message_id: Mapped[str] = mapped_column(String(ID_LENGTH), unique=True)
    payload: Mapped[dict[str, Any]] = mapped_column(JSON)
    made_at: Mapped[datetime] = mapped_column(UtcDateTime)
    state: Mapped[str] = mapped_column(String(WORD_LENGTH))
    attempts: Mapped[int] = mapped_column(Integer, default=0)
    next_try_at: Mapped[datetime] = mapped_column(UtcDateTime)
    lease_until: Mapped[datetime | None] = mapped_column(UtcDateTime)
    worker: Mapped[str | None] = mapped_column(String(ID_LENGTH))
    problem: Mapped[str | None] = mapped_column(String(TEXT_LENGTH))
    done_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    printed_at: Mapped[datetime | None] = mapped_column(UtcDateTime)

    __table_args__ = (
        _one_of("state", STATES),
        CheckConstraint("attempts >= 0", name="attempts"),
        UniqueConstraint("notice_pk", "tenant_pk", "channel"),
        # Workers look for what is due to be tried.
        Index(None, "tenant_pk", "state", "next_try_at"),
    )


class Consent(Base):
    """A customer agreed to be written to by one channel; never changed but by a withdrawal.

    The address is no part of what was agreed to, so it may change.
    """

    __tablename__ = "consents"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    wearer_pk: Mapped[int] = row_of("wearers")
    channel: Mapped[str] = mapped_column(String(WORD_LENGTH))
    given_at: Mapped[datetime] = mapped_column(UtcDateTime)
    given_how: Mapped[str] = mapped_column(String(TEXT_LENGTH))
    given_by: Mapped[str] = mapped_column(String(ID_LENGTH))
    withdrawn_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    withdrawn_how: Mapped[str | None] = mapped_column(String(TEXT_LENGTH))
    # Of the channel's kind, if consents keep it; gone when the consent is withdrawn.
    address: Mapped[str | None] = mapped_column(String(ADDRESS_LENGTH))

    __table_args__ = (
        CheckConstraint(
            "(withdrawn_at IS NULL) = (withdrawn_how IS NULL)", name="withdrawn_somehow"
        ),
        # A customer's consents are looked up by channel.
        Index(None, "wearer_pk", "tenant_pk", "channel"),
        # All that hold are read at each decision.
        Index(None, "tenant_pk", "id"),
    )


class StoppedAddress(Base):
    """An address that takes no notices, as SHA-256 of its lower case: it names nobody."""

    __tablename__ = "stopped_addresses"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    address_hash: Mapped[str] = mapped_column(String(HASH_LENGTH))
    reason: Mapped[str] = mapped_column(String(TEXT_LENGTH))
    at: Mapped[datetime] = mapped_column(UtcDateTime)

    __table_args__ = (UniqueConstraint("tenant_pk", "address_hash"),)
