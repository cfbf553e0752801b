"""Tables of hooks: which software of the shop's own is told of events, and what was it told?

An event of a customer's pair goes when the customer goes.
"""

from __future__ import annotations

from datetime import datetime
from typing import Any
from uuid import uuid4

from sqlalchemy import JSON, CheckConstraint, Index, Integer, String, UniqueConstraint, text
from sqlalchemy.orm import Mapped, mapped_column

from solespan.api.storage.tables.keys import row_of
from solespan.api.storage.tables.rack import WORD_LENGTH, Base, Editable
from solespan.api.storage.tables.types import BigId, UtcDateTime
from solespan.forecast.values import ID_LENGTH, TEXT_LENGTH

__all__ = ["HookEndpoint", "HookEvent"]


class HookEndpoint(Editable, Base):
    """An address of the shop's own software, the kinds of event it is told, and its secret."""

    __tablename__ = "hook_endpoints"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    endpoint_id: Mapped[str] = mapped_column(
        String(ID_LENGTH), unique=True, default=lambda: uuid4().hex
    )
    url: Mapped[str] = mapped_column(String(TEXT_LENGTH))
    # An empty list stands for every kind.
    kinds: Mapped[list[str]] = mapped_column(JSON)
    note: Mapped[str | None] = mapped_column(String(TEXT_LENGTH))
    active: Mapped[bool] = mapped_column(default=True, server_default=text("true"))
    secret: Mapped[str] = mapped_column(String(ID_LENGTH))
    # Signs as well until its moment.
    old_secret: Mapped[str | None] = mapped_column(String(ID_LENGTH))
    old_secret_until: Mapped[datetime | None] = mapped_column(UtcDateTime)

    __table_args__ = (UniqueConstraint("id", "tenant_pk"),)


class HookEvent(Base):
    """One event on its way to one address; written in the transaction of the change."""

    __tablename__ = "hook_events"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    event_id: Mapped[str] = mapped_column(
        String(ID_LENGTH), unique=True, default=lambda: f"evt_{uuid4().hex}"
    )
    endpoint_pk: Mapped[int] = row_of("hook_endpoints")
    wearer_pk: Mapped[int] = row_of("wearers")
    kind: Mapped[str] = mapped_column(String(WORD_LENGTH))
    payload: Mapped[dict[str, Any]] = mapped_column(JSON)
    made_at: Mapped[datetime] = mapped_column(UtcDateTime)
    # Tries are counted from here: the event itself, or when somebody sent it again.
    begun_at: Mapped[datetime] = mapped_column(UtcDateTime)
    state: Mapped[str] = mapped_column(String(WORD_LENGTH))
    attempts: Mapped[int] = mapped_column(Integer)
    next_try_at: Mapped[datetime] = mapped_column(UtcDateTime)
    problem: Mapped[str | None] = mapped_column(String(TEXT_LENGTH))
    done_at: Mapped[datetime | None] = mapped_column(UtcDateTime)

    __table_args__ = (
        CheckConstraint("state IN ('pending', 'sent', 'failed', 'cancelled')", name="state"),
        # What is due is looked for; the newest are listed; owners and addresses go.
        Index(None, "tenant_pk", "state", "next_try_at"),
        Index(None, "tenant_pk", "id"),
        Index(None, "endpoint_pk", "tenant_pk", "state"),
        Index(None, "wearer_pk", "tenant_pk"),
    )
