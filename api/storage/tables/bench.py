"""Tables of bench.

What does the database hold of the bench: orders, their audit, papers, photographs, stock, plans?

An order is a piece of work from the day it is booked. On reception it gets its row in `bench_jobs`,
the interchange table, which stays as it is. Every change of an order writes an event that is never
changed again.
"""

from __future__ import annotations

from datetime import date, datetime
from typing import Any
from uuid import uuid4

from sqlalchemy import (
    JSON,
    CheckConstraint,
    Index,
    Integer,
    LargeBinary,
    String,
    UniqueConstraint,
    text,
)
from sqlalchemy.orm import Mapped, mapped_column

import solespan.api.storage.tables.bookings
import solespan.api.storage.tables.pair_extras
import solespan.api.storage.tables.purchases  # noqa: F401 - items name their suppliers
from solespan.api.bench_words import PAPERS, STAGES, STOCK_REASONS
from solespan.api.storage.tables.keys import row_of
from solespan.api.storage.tables.rack import (
    WORD_LENGTH,
    Base,
    Editable,
    _utc_now,
)
from solespan.api.storage.tables.types import BigId, UtcDateTime
from solespan.forecast.frames import WORKS
from solespan.forecast.values import ID_LENGTH, TEXT_LENGTH
from solespan.forecast.workload import OUTCOMES

__all__ = [
    "BenchEvent",
    "BenchOrder",
    "BenchPaper",
    "BenchPhoto",
    "BenchPlan",
    "DueOutcome",
    "ShopSetting",
    "StockItem",
    "StockMove",
]


def _public_id() -> str:
    return uuid4().hex


def _in(column: str, words: tuple[str, ...]) -> CheckConstraint:
    listed = ", ".join(f"'{word}'" for word in words)
    return CheckConstraint(f"{column} IN ({listed})", name=column)


class BenchOrder(Editable, Base):
    """One piece of work on a pair, from booked to returned; its id becomes the job's."""

    __tablename__ = "bench_orders"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    order_id: Mapped[str] = mapped_column(String(ID_LENGTH), unique=True, default=_public_id)
    pair_pk: Mapped[int] = row_of("pairs")
    work: Mapped[str] = mapped_column(String(WORD_LENGTH))
    stage: Mapped[str] = mapped_column(String(WORD_LENGTH))
    booked_on: Mapped[date]
    expected_on: Mapped[date | None]
    promised_on: Mapped[date | None]
    by_post: Mapped[bool] = mapped_column(default=False, server_default=text("false"))
    parcel_in: Mapped[str | None] = mapped_column(String(ID_LENGTH))
    parcel_out: Mapped[str | None] = mapped_column(String(ID_LENGTH))
    worker: Mapped[str | None] = mapped_column(String(ID_LENGTH))
    bench_minutes: Mapped[float | None]
    price_minor: Mapped[int | None] = mapped_column(BigId)
    currency: Mapped[str | None] = mapped_column(String(3))
    note: Mapped[str | None] = mapped_column(String(TEXT_LENGTH))
    advised: Mapped[bool] = mapped_column(default=False, server_default=text("false"))
    more_works: Mapped[str | None] = mapped_column(String(TEXT_LENGTH))
    ticket: Mapped[int | None] = mapped_column(Integer)
    sent_to: Mapped[str | None] = mapped_column(String(ID_LENGTH))
    back_on: Mapped[date | None]
    warranty_of: Mapped[str | None] = mapped_column(String(ID_LENGTH))
    reason: Mapped[str | None] = mapped_column(String(TEXT_LENGTH))

    __table_args__ = (
        _in("work", WORKS),
        _in("stage", STAGES),
        CheckConstraint("ticket >= 1", name="ticket"),
        CheckConstraint("bench_minutes >= 0 AND bench_minutes <= 100000", name="bench_minutes"),
        CheckConstraint("price_minor >= 0", name="price_minor"),
        # The bench page lists orders by stage; a pair's open order is looked for at booking.
        Index(None, "tenant_pk", "stage", "expected_on"),
        # The next ticket is the highest and one; an order is searched for by its ticket.
        Index(None, "tenant_pk", "ticket"),
        Index(None, "pair_pk", "tenant_pk"),
        UniqueConstraint("id", "tenant_pk"),
    )


class BenchEvent(Base):
    """One change of an order: who, when, from which stage to which, and what was said."""

    __tablename__ = "bench_events"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    order_pk: Mapped[int] = row_of("bench_orders")
    at: Mapped[datetime] = mapped_column(UtcDateTime, default=_utc_now)
    from_stage: Mapped[str | None] = mapped_column(String(WORD_LENGTH))
    to_stage: Mapped[str] = mapped_column(String(WORD_LENGTH))
    worker: Mapped[str | None] = mapped_column(String(ID_LENGTH))
    details: Mapped[dict[str, Any]] = mapped_column(JSON)

    __table_args__ = (
        # An order's history is read in its order.
        Index(None, "order_pk", "id"),
    )


class BenchPaper(Editable, Base):
    """A paper of an order: condition at reception, or the shoe's record before or after."""

    __tablename__ = "bench_papers"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    order_pk: Mapped[int] = row_of("bench_orders")
    kind: Mapped[str] = mapped_column(String(WORD_LENGTH))
    payload: Mapped[dict[str, Any]] = mapped_column(JSON)

    __table_args__ = (_in("kind", PAPERS), UniqueConstraint("order_pk", "kind"))


class BenchPhoto(Base):
    """A photograph of an order's pair, without its metadata."""

    __tablename__ = "bench_photos"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    photo_id: Mapped[str] = mapped_column(String(ID_LENGTH), unique=True, default=_public_id)
    order_pk: Mapped[int] = row_of("bench_orders")
    taken_in: Mapped[datetime] = mapped_column(UtcDateTime, default=_utc_now)
    media_type: Mapped[str] = mapped_column(String(WORD_LENGTH))
    caption: Mapped[str | None] = mapped_column(String(TEXT_LENGTH))
    content: Mapped[bytes] = mapped_column(LargeBinary)

    __table_args__ = (
        _in("media_type", ("image/jpeg", "image/png")),
        # An order's photographs are listed together.
        Index(None, "order_pk"),
    )


class DueOutcome(Base):
    """What became of a pair that was due: the habits of owners are learnt from it.

    `supposed` rows are written from forecasts alone, and change with them.
    """

    __tablename__ = "due_outcomes"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    pair_pk: Mapped[int] = row_of("pairs")
    due_on: Mapped[date]
    outcome: Mapped[str] = mapped_column(String(WORD_LENGTH))
    came_on: Mapped[date | None]
    supposed: Mapped[bool] = mapped_column(default=False, server_default=text("false"))

    __table_args__ = (
        _in("outcome", OUTCOMES),
        CheckConstraint("(came_on IS NOT NULL) = (outcome = 'came')", name="came_with_day"),
        UniqueConstraint("pair_pk", "due_on"),
    )


class ShopSetting(Editable, Base):
    """One group of the shop's choices as JSON: hours, prices, tolerances."""

    __tablename__ = "shop_settings"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    name: Mapped[str] = mapped_column(String(WORD_LENGTH))
    value: Mapped[dict[str, Any]] = mapped_column(JSON)

    __table_args__ = (UniqueConstraint("tenant_pk", "name"),)


class BenchPlan(Base):
    """One plan of the coming year: lead times by week and the day each owner is asked for."""

    __tablename__ = "bench_plans"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    made_at: Mapped[datetime] = mapped_column(UtcDateTime, default=_utc_now)
    as_of: Mapped[date]
    payload: Mapped[dict[str, Any]] = mapped_column(JSON)

    __table_args__ = (
        # The newest one is the plan.
        Index(None, "tenant_pk", "id"),
    )


class StockItem(Editable, Base):
    """One thing kept in stock, how it is supplied, and how much of it there is."""

    __tablename__ = "stock_items"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    item_id: Mapped[str] = mapped_column(String(ID_LENGTH))
    use: Mapped[str] = mapped_column(String(WORD_LENGTH))
    material: Mapped[str | None] = mapped_column(String(WORD_LENGTH))
    thickness_mm: Mapped[float | None]
    size_eu_from: Mapped[float | None]
    size_eu_to: Mapped[float | None]
    quantity: Mapped[float] = mapped_column(default=0.0, server_default=text("0"))
    supply_days: Mapped[float]
    supply_days_sd: Mapped[float]
    minimum_order: Mapped[float]
    service_level: Mapped[float]
    review_days: Mapped[int] = mapped_column(Integer)
    supplier_pk: Mapped[int | None] = row_of("suppliers", emptied=True)
    pack_size: Mapped[float | None]
    area_dm2: Mapped[float | None]
    yield_share: Mapped[float | None]

    __table_args__ = (
        UniqueConstraint("tenant_pk", "item_id"),
        CheckConstraint("pack_size > 0", name="pack_size"),
        CheckConstraint("area_dm2 > 0", name="area_dm2"),
        CheckConstraint("yield_share > 0 AND yield_share <= 1", name="yield_share"),
        UniqueConstraint("id", "tenant_pk"),
        Index(None, "supplier_pk", "tenant_pk"),
        CheckConstraint("quantity >= 0", name="quantity"),
        CheckConstraint("supply_days >= 0 AND supply_days_sd >= 0", name="supply_days"),
        CheckConstraint("minimum_order >= 0", name="minimum_order"),
        CheckConstraint("service_level > 0 AND service_level < 1", name="service_level"),
        CheckConstraint("review_days >= 1", name="review_days"),
    )


class StockMove(Base):
    """One line of the stock book: a receipt, a use by a job, or a count; never changed."""

    __tablename__ = "stock_moves"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    item_pk: Mapped[int] = row_of("stock_items")
    order_pk: Mapped[int | None] = row_of("bench_orders", emptied=True)
    at: Mapped[datetime] = mapped_column(UtcDateTime, default=_utc_now)
    reason: Mapped[str] = mapped_column(String(WORD_LENGTH))
    change: Mapped[float]
    quantity_after: Mapped[float]
    note: Mapped[str | None] = mapped_column(String(TEXT_LENGTH))

    __table_args__ = (
        _in("reason", STOCK_REASONS),
        CheckConstraint("quantity_after >= 0", name="quantity_after"),
        # The book is read item by item; erasing an order looks for its uses.
        Index(None, "item_pk", "id"),
        Index(None, "order_pk"),
    )
