"""HTTP schemas of stock.

Which fields do stock items, lines of the stock book and order advice have?
"""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Literal

from pydantic import Field, StringConstraints, ValidationInfo, field_validator, model_validator

from solespan.api.bench_words import STOCK_REASONS
from solespan.api.schemas.fields import KnownId
from solespan.api.schemas.rack.records import Answer, Message
from solespan.forecast.bench.item_use import YIELD_SHARE, pairs_of_leather
from solespan.forecast.bench.standards import STANDARDS
from solespan.forecast.errors import BadHorizon
from solespan.forecast.frames import MATERIALS

__all__ = ["Advised", "AdvisedItems", "Item", "ItemStored", "Items", "StockLine"]

USES = tuple(sorted({name for standard in STANDARDS.values() for name, _ in standard.uses}))
Amount = Annotated[float, Field(ge=0, le=1e6, allow_inf_nan=False)]
Days = Annotated[float, Field(ge=0, le=1000, allow_inf_nan=False)]
Size = Annotated[float, Field(ge=15, le=55)]
Note = Annotated[str, StringConstraints(max_length=2000, pattern=r"^[^\x00]*$")]
Pack = Annotated[float, Field(gt=0, le=1e6, allow_inf_nan=False)]


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
    supplier_id: KnownId | None = Field(
        default=None,
        description="who sells it; a supply time left out is the supplier's. "
        "Unit: none (identifier)",
    )
    pack_size: Pack | None = Field(
        default=None,
        description="what one whole piece holds; null = one pair, or any amount of welt, thread "
        "and cement. Unit: that of the use",
    )
    area_dm2: Annotated[float, Field(gt=0, le=1000)] | None = Field(
        default=None,
        description="area of one piece of leather; then a piece holds the whole pairs that its "
        "yield gives. Unit: dm2",
    )
    yield_share: Annotated[float, Field(gt=0, le=1)] | None = Field(
        default=None,
        validate_default=True,
        description="share of the area that becomes soles; null = 0.7. Unit: share",
    )

    @model_validator(mode="after")
    def _sizes(self) -> Item:
        if self.size_eu_from and self.size_eu_to and self.size_eu_to < self.size_eu_from:
            raise ValueError("size_eu_to is less than size_eu_from")
        return self

    @field_validator("yield_share")
    @classmethod
    def _leather(cls, share: float | None, info: ValidationInfo) -> float | None:
        use, area = info.data.get("use"), info.data.get("area_dm2")
        if use is not None and area is not None:
            try:
                pairs_of_leather(area, use, share or YIELD_SHARE)
            except BadHorizon as problem:
                raise ValueError(str(problem)) from problem
        return share


class StockLine(Message):
    """One line of the stock book."""

    reason: Literal[STOCK_REASONS] = Field(description="why it changes. Unit: none (word)")  # type: ignore[valid-type]
    quantity: Amount = Field(
        description="how much came or went; for count, how much is there. Unit: that of the use"
    )
    note: Note | None = Field(default=None, description="what to know. Unit: none (text)")


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
    supplier_id: str | None = Field(description="who sells it. Unit: none (identifier)")
    pack_size: float | None = Field(description="what one piece holds. Unit: that of the use")
    area_dm2: float | None = Field(description="area of one piece of leather. Unit: dm2")
    yield_share: float | None = Field(description="of it that becomes soles. Unit: share")
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
    on_order: float = Field(description="ordered and not come yet. Unit: that of the use")
    in_hand: float = Field(
        description="what jobs at the shop will take of it. Unit: that of the use"
    )
    share: float = Field(description="share of the jobs of its use that take it. Unit: probability")
    supply_days: float = Field(description="supply time, learnt from orders that came. Unit: d")
    reorder_point: float = Field(
        description="order up to it when stock, less jobs in hand, and orders are below. "
        "Unit: that of the use"
    )
    safety_stock: float = Field(description="of it, for uncertainty. Unit: that of the use")
    order_now: float = Field(description="to order today; 0 = nothing. Unit: that of the use")
    order_in_days: int | None = Field(
        description="until an order is due; null = not in the time looked at. Unit: d"
    )
    runs_out_chance: float = Field(
        description="chance of running out before an order of today comes. Unit: probability"
    )
    stock_out_chance: float = Field(
        description="chance of running out before an order comes, under this advice. "
        "Unit: probability"
    )


class AdvisedItems(Answer):
    """Advice on every item."""

    items: list[Advised] = Field(description="by id. Unit: none (list)")
