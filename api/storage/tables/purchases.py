"""Tables of purchases.

What does the database hold of supply: suppliers, and orders of stock items that came or did not?
"""

from __future__ import annotations

from datetime import date
from uuid import uuid4

from sqlalchemy import CheckConstraint, Index, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from solespan.api.bench_words import PURCHASE_STATES
from solespan.api.storage.tables.keys import row_of
from solespan.api.storage.tables.rack import WORD_LENGTH, Base, Editable
from solespan.api.storage.tables.types import BigId
from solespan.forecast.values import ID_LENGTH, TEXT_LENGTH

__all__ = ["PurchaseOrder", "Supplier"]


def _public_id() -> str:
    return uuid4().hex


class Supplier(Editable, Base):
    """Who sells materials, and how long supply from there takes where an item does not say."""

    __tablename__ = "suppliers"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    supplier_id: Mapped[str] = mapped_column(String(ID_LENGTH))
    name: Mapped[str | None] = mapped_column(String(TEXT_LENGTH))
    supply_days: Mapped[float]
    supply_days_sd: Mapped[float]
    note: Mapped[str | None] = mapped_column(String(TEXT_LENGTH))

    __table_args__ = (
        UniqueConstraint("tenant_pk", "supplier_id"),
        UniqueConstraint("id", "tenant_pk"),
        CheckConstraint("supply_days >= 0 AND supply_days_sd >= 0", name="supply_days"),
    )


class PurchaseOrder(Editable, Base):
    """One item ordered from a supplier, and how much of it came."""

    __tablename__ = "purchase_orders"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    purchase_id: Mapped[str] = mapped_column(String(ID_LENGTH), unique=True, default=_public_id)
    item_pk: Mapped[int] = row_of("stock_items")
    supplier_pk: Mapped[int | None] = row_of("suppliers", emptied=True)
    state: Mapped[str] = mapped_column(String(WORD_LENGTH))
    ordered_on: Mapped[date]
    expected_on: Mapped[date]
    quantity: Mapped[float]
    received: Mapped[float]
    closed_on: Mapped[date | None]
    note: Mapped[str | None] = mapped_column(String(TEXT_LENGTH))

    __table_args__ = (
        CheckConstraint(
            "state IN (" + ", ".join(f"'{word}'" for word in PURCHASE_STATES) + ")", name="state"
        ),
        CheckConstraint("quantity > 0", name="quantity"),
        CheckConstraint("received >= 0 AND received <= quantity", name="received"),
        CheckConstraint("expected_on >= ordered_on", name="expected_on"),
        # The stock page lists open orders; an item's orders say how long its supply takes.
        Index(None, "tenant_pk", "state", "expected_on"),
        Index(None, "item_pk", "tenant_pk"),
        Index(None, "supplier_pk", "tenant_pk"),
    )
