"""Tables of history: which rows did a transaction create, change and delete, and how were they?

A revision is one transaction. It has one line for each row that it changed or deleted, with the
row as it was before. Rows that it created stand as runs of numbers, so an import of many rows has
few lines. Nothing here points at the rows themselves, as they may be gone.
"""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import JSON, CheckConstraint, Index, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from solespan.api.storage.tables.keys import row_of
from solespan.api.storage.tables.rack import WORD_LENGTH, Base, _utc_now
from solespan.api.storage.tables.types import BigId, UtcDateTime
from solespan.forecast.values import ID_LENGTH, TEXT_LENGTH

__all__ = ["RecordChange", "Revision"]


class Revision(Base):
    """One transaction that changed records: when, by whom, by which action or import."""

    __tablename__ = "revisions"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    revision_id: Mapped[str] = mapped_column(String(32), unique=True)
    at: Mapped[datetime] = mapped_column(UtcDateTime, default=_utc_now)
    actor: Mapped[str | None] = mapped_column(String(ID_LENGTH))
    action: Mapped[str | None] = mapped_column(String(ID_LENGTH))
    import_pk: Mapped[int | None] = row_of("imports", emptied=True)
    # The revision that this one took back; a number alone, as that one may be forgotten first.
    undoes: Mapped[int | None] = mapped_column(BigId)
    undone_at: Mapped[datetime | None] = mapped_column(UtcDateTime)

    __table_args__ = (
        # Listed newest first, and swept by age; an import's revision is looked for.
        UniqueConstraint("tenant_pk", "id"),
        Index(None, "tenant_pk", "at"),
        Index(None, "import_pk", "tenant_pk"),
    )


class RecordChange(Base):
    """One row that a revision changed or deleted, as it was; or a run of rows that it created."""

    __tablename__ = "record_changes"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    revision_pk: Mapped[int] = row_of("revisions")
    table_name: Mapped[str] = mapped_column(String(WORD_LENGTH))
    kind: Mapped[str] = mapped_column(String(WORD_LENGTH))
    row_pk: Mapped[int] = mapped_column(BigId)
    last_pk: Mapped[int] = mapped_column(BigId)
    # Whose row it was, and the key by which people know it: both empty for created rows.
    wearer_pk: Mapped[int | None] = mapped_column(BigId)
    record_key: Mapped[str | None] = mapped_column(String(TEXT_LENGTH))
    before: Mapped[dict[str, Any] | None] = mapped_column(JSON(none_as_null=True))

    __table_args__ = (
        CheckConstraint("kind IN ('created', 'changed', 'deleted')", name="kind"),
        CheckConstraint("last_pk >= row_pk", name="last_pk"),
        Index(None, "revision_pk", "tenant_pk", "id"),
        # One row's history is read, and whether something later stands on a change.
        Index(None, "tenant_pk", "table_name", "row_pk"),
        # A deleted record is looked for by its key, and a customer's lines are erased.
        Index(None, "tenant_pk", "table_name", "record_key"),
        Index(None, "tenant_pk", "wearer_pk"),
    )
