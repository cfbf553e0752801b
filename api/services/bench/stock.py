"""Stock service: what is in stock, what came and went, and what should be ordered when?

The stock book never goes below zero: a use or a receipt that would is refused, and a count is what
sets a quantity right. A finished job takes its materials from the items that fit it. What is not
kept in the book, or is not there in full, is named in the job's audit instead of being invented.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

import numpy as np
from sqlalchemy.orm import Session

from solespan.api.errors import Conflict, NotFound
from solespan.api.schemas.bench.orders import NewSole
from solespan.api.schemas.bench.stock import Item, StockLine
from solespan.api.services.bench.workload import year_ahead
from solespan.api.storage.bench import stock as stored
from solespan.api.storage.bench.stock import find_item, list_items
from solespan.api.storage.rack.records import find_record
from solespan.api.storage.scope import name_changed
from solespan.api.storage.session import Database
from solespan.forecast.bench.standards import STANDARDS
from solespan.forecast.bench.stock import Supply, advise

__all__ = [
    "advice",
    "describe_item",
    "find_item",
    "list_items",
    "move_stock",
    "put_item",
    "use_for_job",
]

MOVES_SHOWN = 100
_THICKNESS_MM = 0.5  # a sole this much thicker than what was fitted may have been cut for it


def put_item(session: Session, item_id: str, item: Item) -> bool:
    """Write an item or replace how it is supplied; return whether it is new."""
    name_changed(item_id=item_id)
    return stored.put_item(session, item_id, item.model_dump())


def describe_item(session: Session, item_id: str) -> dict[str, Any]:
    """Return an item and its newest lines. Raises `NotFound`."""
    item = _found(session, item_id)
    moves = [
        move | {"at": move["at"].isoformat()}
        for move in stored.moves_of(session, item["id"], MOVES_SHOWN)
    ]
    return {k: v for k, v in item.items() if k != "id"} | {"moves": moves}


def move_stock(session: Session, item_id: str, line: StockLine) -> dict[str, Any]:
    """Write a receipt, a use or a count; return the item.

    Raises `NotFound`, and `Conflict` when more would go than is there.
    """
    item = _found(session, item_id, lock=True)
    have = item["quantity"]
    if line.reason == "count":
        change = line.quantity - have
    else:
        change = line.quantity if line.reason == "receipt" else -line.quantity
    if have + change < -1e-9:
        raise Conflict(
            f"Only {have:g} of {item_id} are there, {line.quantity:g} should go.",
            where="quantity",
            accepted=f"up to {have:g}",
            remedy="Write the receipt that is missing, or count the item.",
        )
    after = max(0.0, round(have + change, 6))
    name_changed(item_id=item_id)
    stored.write_move(session, item, change, after, reason=line.reason, note=line.note)
    return describe_item(session, item_id)


def use_for_job(
    session: Session,
    order: Mapping[str, Any],
    sole: NewSole | None,
    after: Mapping[str, Any] | None,
) -> list[dict[str, Any]]:
    """Take a finished job's materials from the book; return what was taken and what was not."""
    pair = find_record(session, "pairs", {"pair_id": order["pair_id"]}) or {}
    thickness = None
    if after is not None:
        thickness = after["left"]["thickness_mm"].get("ball")
    told = []
    for use, quantity in STANDARDS[order["work"]].uses:
        items = stored.list_items(session, use=use, lock=True)
        material = sole.material if sole is not None and use in ("sole", "half_sole") else None
        fitting = [i for i in items if _fits(i, material, thickness, pair.get("size_eu"))]
        enough = [i for i in fitting if i["quantity"] >= quantity]
        if enough:
            item = min(enough, key=lambda i: (i["thickness_mm"] or 0.0, i["item_id"]))
            left = round(item["quantity"] - quantity, 6)
            stored.write_move(session, item, -quantity, left, reason="use", order_pk=order["id"])
            told.append({"use": use, "item_id": item["item_id"], "quantity": quantity})
        elif fitting:
            told.append({"use": use, "quantity": quantity, "not_taken": "not enough in the book"})
        elif items:
            told.append({"use": use, "quantity": quantity, "not_taken": "no item fits"})
    return told


def _fits(
    item: Mapping[str, Any], material: str | None, thickness: float | None, size: float | None
) -> bool:
    if material is not None:
        if item["material"] not in (None, material):
            return False
        thin = item["thickness_mm"] is not None and thickness is not None
        if thin and not 0 <= item["thickness_mm"] - thickness + 0.3 <= _THICKNESS_MM + 0.3:
            return False
    if size is None:
        return True
    return (item["size_eu_from"] or 0) <= size <= (item["size_eu_to"] or 99)


def advice(database: Database, today: date, months: int = 12) -> list[dict[str, Any]]:
    """Say of every item when to order how much. Raises `NothingForecast`."""
    ahead = year_ahead(database, today, months)
    with database.reading() as session:
        items = stored.list_items(session)
    out = []
    for item in items:
        use = ahead.by_day.get(f"use_{item['use']}")
        if use is None:
            continue
        # items of one use share it evenly until the books say who takes what
        sharing = sum(other["use"] == item["use"] for other in items)
        supply = Supply(
            item["supply_days"],
            item["supply_days_sd"],
            item["minimum_order"],
            item["service_level"],
            item["review_days"],
        )
        told = advise(use / sharing, item["quantity"], 0.0, supply)
        out.append(
            {
                "item_id": item["item_id"],
                "quantity": item["quantity"],
                "reorder_point": round(told.reorder_point, 2),
                "safety_stock": round(told.safety_stock, 2),
                "order_now": round(told.order_now, 2),
                "order_in_days": int(told.order_in_days)
                if np.isfinite(told.order_in_days)
                else None,
                "runs_out_chance": round(told.runs_out_chance, 4),
            }
        )
    return out


def _found(session: Session, item_id: str, *, lock: bool = False) -> dict[str, Any]:
    item = stored.find_item(session, item_id, lock=lock)
    if item is None:
        raise NotFound(
            f"There is no stock item {item_id!r}.",
            where="item_id",
            remedy="Look it up in the list: GET /v1/stock",
        )
    return item
