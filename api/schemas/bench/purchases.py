"""HTTP schemas of purchases.

Which fields do suppliers, orders of stock items, receipts and the use of an item by week have?
"""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Literal

from pydantic import Field, model_validator

from solespan.api.bench_words import PURCHASE_STATES
from solespan.api.schemas.bench.stock import Amount, Days, Note
from solespan.api.schemas.fields import KnownId, PlainDate
from solespan.api.schemas.rack.records import MAX_PAGE, Answer, Message

__all__ = [
    "ItemWeeks",
    "NewPurchase",
    "Purchase",
    "PurchaseFilters",
    "Purchases",
    "Receipt",
    "Supplier",
    "SupplierStored",
    "Suppliers",
]

State = Literal[PURCHASE_STATES]  # type: ignore[valid-type]
Ordered = Annotated[float, Field(gt=0, le=1e6, allow_inf_nan=False)]


class Supplier(Message):
    """Who sells materials."""

    name: Note | None = Field(default=None, description="the name. Unit: none (text)")
    supply_days: Days = Field(
        default=14,
        description="supply time of items that name none; pit-tanned leather takes most of a "
        "year (common practice, no source). Unit: d",
    )
    supply_days_sd: Days = Field(default=4, description="its standard deviation. Unit: d")
    note: Note | None = Field(default=None, description="what to know. Unit: none (text)")


class SupplierStored(Answer):
    """A supplier as stored."""

    supplier_id: str = Field(description="stable identifier. Unit: none (identifier)")
    name: str | None = Field(description="the name. Unit: none (text)")
    supply_days: float = Field(description="supply time of items that name none. Unit: d")
    supply_days_sd: float = Field(description="its standard deviation. Unit: d")
    note: str | None = Field(description="what to know. Unit: none (text)")
    version: int = Field(description="counts the changes. Unit: changes")


class Suppliers(Answer):
    """Every supplier."""

    items: list[SupplierStored] = Field(description="by id. Unit: none (list)")


class NewPurchase(Message):
    """One item ordered from a supplier."""

    item_id: KnownId = Field(description="the item. Unit: none (identifier)")
    quantity: Ordered = Field(
        description="how much; whole pieces where the item comes in pieces. Unit: that of the use"
    )
    supplier_id: KnownId | None = Field(
        default=None, description="from whom; null = the item's supplier. Unit: none (identifier)"
    )
    ordered_on: PlainDate | None = Field(
        default=None, description="day of the order; null = today. Unit: calendar date, ISO 8601"
    )
    expected_on: PlainDate | None = Field(
        default=None,
        description="day it should come; null = by the supply time. Unit: calendar date, ISO 8601",
    )
    note: Note | None = Field(default=None, description="what to know. Unit: none (text)")

    @model_validator(mode="after")
    def _days(self) -> NewPurchase:
        if self.ordered_on and self.expected_on and self.expected_on < self.ordered_on:
            raise ValueError("expected_on is before ordered_on")
        return self


class Receipt(Message):
    """What came of an order."""

    quantity: Ordered | None = Field(
        default=None, description="how much came; null = all that was open. Unit: that of the use"
    )
    received_on: PlainDate | None = Field(
        default=None, description="day it came; null = today. Unit: calendar date, ISO 8601"
    )


class Purchase(Answer):
    """An order of an item as stored."""

    purchase_id: str = Field(description="stable identifier. Unit: none (identifier)")
    item_id: str = Field(description="the item. Unit: none (identifier)")
    supplier_id: str | None = Field(description="from whom. Unit: none (identifier)")
    state: State = Field(description="where it is. Unit: none (word)")
    ordered_on: dt.date = Field(description="day of the order. Unit: calendar date, ISO 8601")
    expected_on: dt.date = Field(description="day it should come. Unit: calendar date, ISO 8601")
    quantity: float = Field(description="how much was ordered. Unit: that of the use")
    received: float = Field(description="how much came. Unit: that of the use")
    closed_on: dt.date | None = Field(
        description="day the last of it came or it was cancelled. Unit: calendar date, ISO 8601"
    )
    note: str | None = Field(description="what to know. Unit: none (text)")
    version: int = Field(description="counts the changes. Unit: changes")


class Purchases(Answer):
    """Orders of items, those that are open and expected first at the top."""

    items: list[Purchase] = Field(description="orders. Unit: none (list)")


class PurchaseFilters(Message):
    """Which orders of items to list."""

    item_id: KnownId | None = Field(
        default=None, description="only this item. Unit: none (identifier)"
    )
    state: State | None = Field(default=None, description="only this state. Unit: none (word)")
    limit: int = Field(default=50, ge=1, le=MAX_PAGE, description="rows at most. Unit: rows")


class ItemWeek(Answer):
    """What one week will take of an item."""

    begins_on: dt.date = Field(description="its Monday. Unit: calendar date, ISO 8601")
    mean: Amount = Field(description="mean use. Unit: that of the use")
    p10: Amount = Field(description="1 year in 10 takes less. Unit: that of the use")
    p50: Amount = Field(description="half the years take less. Unit: that of the use")
    p90: Amount = Field(description="9 years in 10 take less. Unit: that of the use")


class ItemWeeks(Answer):
    """What each week will take of an item; the first and last week may be cut."""

    item_id: str = Field(description="the item. Unit: none (identifier)")
    items: list[ItemWeek] = Field(description="weeks in their order. Unit: none (list)")
