"""Stock service: what is in stock, what came and went, and which item does a job take?

The stock book never goes below zero: a use or a receipt that would is refused, and a count is what
sets a quantity right. A finished job takes its materials from the items that fit it. What is not
kept in the book, or is not there in full, is named in the job's audit instead of being invented.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from typing import Any

from sqlalchemy.orm import Session

from solespan.api.errors import Conflict, NotFound, Refused, StaleVersion
from solespan.api.schemas.bench.orders import NewSole
from solespan.api.schemas.bench.stock import Item, StockLine
from solespan.api.schemas.edition import refuse_other_edition
from solespan.api.schemas.forms import Typed
from solespan.api.services.bench.stock_forms import typed_item
from solespan.api.storage.bench import stock as stored
from solespan.api.storage.bench.purchases import find_supplier
from solespan.api.storage.bench.stock import find_item, list_items
from solespan.api.storage.rack.records import find_record
from solespan.api.storage.scope import name_changed
from solespan.forecast.bench.item_use import BULK_USES, YIELD_SHARE, pairs_of_leather
from solespan.forecast.bench.standards import STANDARDS
from solespan.forecast.bench.visits import works_of

__all__ = [
    "describe_item",
    "find_item",
    "fits_item",
    "found_item",
    "list_items",
    "move_stock",
    "pack_of",
    "put_item",
    "refuse_version",
    "use_for_job",
]

MOVES_SHOWN = 100
_THICKNESS_MM = 0.5  # a sole this much thicker than what was fitted may have been cut for it


def put_item(
    session: Session,
    item_id: str,
    item: Item,
    *,
    seen: Typed | None = None,
    versions: frozenset[int] | None = None,
) -> bool:
    """Write an item or replace how it is supplied; return whether it is new.

    A form gives what was typed as `seen`, a program the `versions` that it may have (0 = none is
    kept, None = any). Raises `Refused`, `ChangedMeanwhile`, `StaleVersion`.
    """
    there = stored.held_item(session, item_id)
    if seen is not None:
        refuse_other_edition(seen, typed_item(there))
    refuse_version(there, versions)
    values = item.model_dump(exclude={"supplier_id"}) | {"supplier_pk": None}
    if item.supplier_id is not None:
        supplier = find_supplier(session, item.supplier_id)
        if supplier is None:
            raise Refused(
                f"There is no supplier {item.supplier_id!r}.",
                where="supplier_id",
                accepted="a supplier that is kept",
                remedy="Keep it first: PUT /v1/suppliers/{supplier_id}",
            )
        values["supplier_pk"] = supplier["id"]
        if "supply_days" not in item.model_fields_set:
            values |= {name: supplier[name] for name in ("supply_days", "supply_days_sd")}
    name_changed(item_id=item_id)
    return stored.put_item(session, item_id, values)


def refuse_version(there: Mapping[str, Any] | None, versions: frozenset[int] | None) -> None:
    """Raise `StaleVersion` unless what stands there has one of `versions`; 0 = nothing does."""
    version = 0 if there is None else there["version"]
    if versions is None or version in versions:
        return
    raise StaleVersion(
        "This was kept or changed since it was read.",
        where="header If-Match",
        accepted=f'"{version}", its version now; * replaces whatever stands there',
        remedy="Read it again, and decide again.",
    )


def describe_item(session: Session, item_id: str) -> dict[str, Any]:
    """Return an item and its newest lines. Raises `NotFound`."""
    item = found_item(session, item_id)
    moves = [
        move | {"at": move["at"].isoformat()}
        for move in stored.moves_of(session, item["id"], MOVES_SHOWN)
    ]
    return {k: v for k, v in item.items() if k != "id"} | {"moves": moves}


def move_stock(session: Session, item_id: str, line: StockLine) -> dict[str, Any]:
    """Write a receipt, a use or a count; return the item.

    Raises `NotFound`, and `Conflict` when more would go than is there.
    """
    item = found_item(session, item_id, lock=True)
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
    uses: Counter[str] = Counter()
    for work in works_of(order["work"], order["more_works"]):
        uses.update(dict(STANDARDS[work].uses))
    for use, quantity in uses.items():
        items = stored.list_items(session, use=use, lock=True)
        material = sole.material if sole is not None and use in ("sole", "half_sole") else None
        fitting = [i for i in items if fits_item(i, material, thickness, pair.get("size_eu"))]
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


def fits_item(
    item: Mapping[str, Any], material: str | None, thickness: float | None, size: float | None
) -> bool:
    """Whether a job on a pair of this size, for this material and thickness, takes an item."""
    if material is not None:
        if item["material"] not in (None, material):
            return False
        thin = item["thickness_mm"] is not None and thickness is not None
        if thin and not 0 <= item["thickness_mm"] - thickness + 0.3 <= _THICKNESS_MM + 0.3:
            return False
    if size is None:
        return True
    return (item["size_eu_from"] or 0) <= size <= (item["size_eu_to"] or 99)


def pack_of(item: Mapping[str, Any]) -> float:
    """Return what one whole piece of an item holds, in its unit; 0 = any amount is sold."""
    if item["area_dm2"]:
        share = item["yield_share"] or YIELD_SHARE
        return float(pairs_of_leather(item["area_dm2"], item["use"], share))
    return float(item["pack_size"] or (0.0 if item["use"] in BULK_USES else 1.0))


def found_item(session: Session, item_id: str, *, lock: bool = False) -> dict[str, Any]:
    """Return a stock item with its number `id`. Raises `NotFound`."""
    item = stored.find_item(session, item_id, lock=lock)
    if item is None:
        raise NotFound(
            f"There is no stock item {item_id!r}.",
            where="item_id",
            remedy="Look it up in the list: GET /v1/stock",
        )
    return item
