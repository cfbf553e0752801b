"""HTTP schemas of stock.

Which fields do stock items, lines of the stock book and order advice have?
"""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Literal

from pydantic import Field, StringConstraints, model_validator

from solespan.api.bench_words import STOCK_REASONS
from solespan.api.schemas.rack.records import Answer, Message
from solespan.forecast.bench.standards import STANDARDS
from solespan.forecast.frames import MATERIALS

__all__ = ["Advised", "AdvisedItems", "Item", "ItemStored", "Items", "StockLine"]

USES = tuple(sorted({name for standard in STANDARDS.values() for name, _ in standard.uses}))
Amount = Annotated[float, Field(ge=0, le=1e6, allow_inf_nan=False)]
Days = Annotated[float, Field(ge=0, le=1000, allow_inf_nan=False)]
Size = Annotated[float, Field(ge=15, le=55)]


class Item(Message):
    """One thing kept in stock, and how it is supplied. Pit-tanned leather takes most of a year."""

    use: Literal[USES] = Field(  # type: ignore[valid-type]
        description="what it is used as; soles, half soles, top pieces and toe plates are counted "
        "in pairs, welt and thread in metres, cement in millilitres. Unit: none (word)"
    )
    material: Literal[MATERIALS] | None = Field(  # type: ignore[valid-type]
        default=None, description="what it is made of; null = any. Unit: none (word)"
    )
    thickness_mm: Annotated[float, Field(gt=0, le=40)] | None = Field(
        default=None, description="thickness; null = any. Unit: mm"
    )
    size_eu_from: Size | None = Field(default=None, description="smallest size. Unit: EU size")
    size_eu_to: Size | None = Field(default=None, description="largest size. Unit: EU size")
    supply_days: Days = Field(default=14, description="supply time. Unit: d")
    supply_days_sd: Days = Field(default=4, description="its standard deviation. Unit: d")
    minimum_order: Amount = Field(
        default=0, description="least that is sold at once. Unit: that of the use"
    )
    service_level: Annotated[float, Field(gt=0, lt=1)] = Field(
        default=0.95, description="chance of not running out before supply. Unit: probability"
    )
    review_days: int = Field(
        default=7, ge=1, le=366, description="how often orders are thought about. Unit: d"
    )

    @model_validator(mode="after")
    def _sizes(self) -> Item:
        if self.size_eu_from and self.size_eu_to and self.size_eu_to < self.size_eu_from:
            raise ValueError("size_eu_to is less than size_eu_from")
        return self


class StockLine(Message):
    """One line of the stock book."""

    reason: Literal[STOCK_REASONS] = Field(description="why it changes. Unit: none (word)")  # type: ignore[valid-type]
    quantity: Amount = Field(
        description="how much came or went; for count, how much is there. Unit: that of the use"
    )
    note: Annotated[str, StringConstraints(max_length=2000, pattern=r"^[^\x00]*$")] | None = Field(
        default=None, description="what to know. Unit: none (text)"
    )


class StockMoved(Answer):
    """One line as written."""

    at: dt.datetime = Field(description="when. Unit: instant, UTC, ISO 8601")
    reason: str = Field(description="why. Unit: none (word)")
    change: float = Field(description="more or less. Unit: that of the use")
    quantity_after: float = Field(description="what was there then. Unit: that of the use")
    note: str | None = Field(description="what to know. Unit: none (text)")
    order_id: str | None = Field(description="the job that used it. Unit: none (identifier)")


class ItemStored(Answer):
    """An item as stored."""

    item_id: str = Field(description="stable identifier. Unit: none (identifier)")
    use: str = Field(description="what it is used as. Unit: none (word)")
    material: str | None = Field(description="what it is made of. Unit: none (word)")
    thickness_mm: float | None = Field(description="thickness. Unit: mm")
    size_eu_from: float | None = Field(description="smallest size. Unit: EU size")
    size_eu_to: float | None = Field(description="largest size. Unit: EU size")
    quantity: float = Field(description="what is there. Unit: that of the use")
    supply_days: float = Field(description="supply time. Unit: d")
    supply_days_sd: float = Field(description="its standard deviation. Unit: d")
    minimum_order: float = Field(description="least sold at once. Unit: that of the use")
    service_level: float = Field(description="chance of not running out. Unit: probability")
    review_days: int = Field(description="days between thoughts of ordering. Unit: d")
    version: int = Field(description="counts the changes. Unit: changes")
    moves: list[StockMoved] | None = Field(
        default=None, description="newest lines of its book. Unit: none (list)"
    )


class Items(Answer):
    """Every item."""

    items: list[ItemStored] = Field(description="by id. Unit: none (list)")


class Advised(Answer):
    """When to order how much of one item."""

    item_id: str = Field(description="the item. Unit: none (identifier)")
    quantity: float = Field(description="what is there. Unit: that of the use")
    reorder_point: float = Field(description="order when it is not above. Unit: that of the use")
    safety_stock: float = Field(description="of it, for uncertainty. Unit: that of the use")
    order_now: float = Field(description="to order today; 0 = nothing. Unit: that of the use")
    order_in_days: int | None = Field(
        description="until an order is due; null = not in the time looked at. Unit: d"
    )
    runs_out_chance: float = Field(
        description="chance of running out before an order of today comes. Unit: probability"
    )


class AdvisedItems(Answer):
    """Advice on every item."""

    items: list[Advised] = Field(description="by id. Unit: none (list)")
