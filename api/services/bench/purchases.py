"""Purchase service: what was ordered from whom, when should it come, and what of it came?

What is on its way counts as if it were there, so advice to order does not come back each day. A
receipt writes its line into the stock book in the same transaction. Supply times are learnt from
orders that came.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, timedelta
from math import ceil
from typing import Any

import numpy as np
from sqlalchemy.orm import Session

from solespan.api.bench_words import OPEN_PURCHASES
from solespan.api.errors import Conflict, NotFound, Refused
from solespan.api.schemas.bench.purchases import NewPurchase, Receipt, Supplier
from solespan.api.schemas.edition import refuse_other_edition
from solespan.api.schemas.forms import Typed
from solespan.api.services.bench.stock import found_item, pack_of, refuse_version
from solespan.api.services.bench.stock_forms import typed_supplier
from solespan.api.storage.bench import purchases as stored
from solespan.api.storage.bench.purchases import list_suppliers
from solespan.api.storage.bench.stock import write_move
from solespan.api.storage.scope import name_changed
from solespan.forecast.bench.stock import learnt_supply

__all__ = [
    "cancel_purchase",
    "describe_purchase",
    "describe_supplier",
    "list_purchases",
    "list_suppliers",
    "order_item",
    "put_supplier",
    "receive_purchase",
]


def put_supplier(
    session: Session,
    supplier_id: str,
    supplier: Supplier,
    *,
    seen: Typed | None = None,
    versions: frozenset[int] | None = None,
) -> bool:
    """Write a supplier or replace what is kept of it; return whether it is new; see `put_item`."""
    there = stored.held_supplier(session, supplier_id)
    if seen is not None:
        refuse_other_edition(seen, typed_supplier(there))
        if there is not None:  # the form does not ask for it
            supplier = supplier.model_copy(update={"note": there["note"]})
    refuse_version(there, versions)
    name_changed(supplier_id=supplier_id)
    return stored.put_supplier(session, supplier_id, supplier.model_dump())


def describe_supplier(session: Session, supplier_id: str) -> dict[str, Any]:
    """Return a supplier. Raises `NotFound`."""
    return _told(_supplier(session, supplier_id))


def list_purchases(
    session: Session, *, item_id: str | None = None, state: str | None = None, limit: int = 500
) -> list[dict[str, Any]]:
    """Return orders: open ones by the day expected, then closed ones, the newest first."""
    rows = stored.list_purchases(session, item_id=item_id, state=state, limit=limit)
    return [_told(row) for row in rows]


def describe_purchase(session: Session, purchase_id: str) -> dict[str, Any]:
    """Return an order. Raises `NotFound`."""
    return _told(_found(session, purchase_id))


def order_item(session: Session, given: NewPurchase, today: date) -> dict[str, Any]:
    """Write down that an item was ordered; return the order.

    Raises `NotFound` for an unknown item or supplier, and `Refused` for a part of a piece or for a
    day that cannot be.
    """
    item = found_item(session, given.item_id)
    _in_pieces(item, given.quantity)
    supplier_id = given.supplier_id or item["supplier_id"]
    supplier = _supplier(session, supplier_id) if supplier_id else None
    ordered_on = given.ordered_on or today
    _not_ahead(ordered_on, today, "ordered_on")
    expected_on = given.expected_on or ordered_on + timedelta(days=_supply_days(session, item))
    if expected_on < ordered_on:
        raise Refused(
            f"It cannot come on {expected_on}: it was ordered on {ordered_on}.",
            where="expected_on",
            accepted=f"{ordered_on} or later",
            remedy="Correct one of the two days.",
        )
    purchase_id = stored.write_purchase(
        session,
        {
            "item_pk": item["id"],
            "supplier_pk": supplier["id"] if supplier else None,
            "state": "ordered",
            "ordered_on": ordered_on,
            "expected_on": expected_on,
            "quantity": given.quantity,
            "received": 0.0,
            "note": given.note,
        },
    )
    name_changed(purchase_id=purchase_id, item_id=given.item_id)
    return describe_purchase(session, purchase_id)


def receive_purchase(
    session: Session, purchase_id: str, receipt: Receipt, today: date
) -> dict[str, Any]:
    """Write down what came of an order, also in the stock book; return the order.

    Raises `NotFound`, `Conflict` for an order that is closed, and `Refused` for more than is open.
    """
    order = _open(session, purchase_id)
    item = found_item(session, order["item_id"], lock=True)
    left = round(order["quantity"] - order["received"], 6)
    quantity = left if receipt.quantity is None else receipt.quantity
    if quantity > left + 1e-9:
        raise Refused(
            f"{quantity:g} came, but only {left:g} of this order are open.",
            where="quantity",
            accepted=f"up to {left:g}",
            remedy="Receive what is open, and write the rest as a receipt into the stock book.",
        )
    on = receipt.received_on or today
    _not_ahead(on, today, "received_on")
    if on < order["ordered_on"]:
        raise Refused(
            f"It cannot have come on {on}: it was ordered on {order['ordered_on']}.",
            where="received_on",
            accepted=f"{order['ordered_on']} to {today}",
            remedy="Correct the day.",
        )
    received = min(round(order["received"] + quantity, 6), order["quantity"])
    whole = received >= order["quantity"]
    values = {"received": received, "state": "received" if whole else "part_received"}
    stored.change_purchase(session, order["id"], values | {"closed_on": on if whole else None})
    after = round(item["quantity"] + quantity, 6)
    write_move(session, item, quantity, after, reason="receipt", note=f"order {purchase_id}")
    name_changed(purchase_id=purchase_id, item_id=order["item_id"])
    return describe_purchase(session, purchase_id)


def cancel_purchase(session: Session, purchase_id: str, today: date) -> dict[str, Any]:
    """Write down that what is open of an order will not come; return the order.

    What came of it stays in the stock book. Raises `NotFound`, and `Conflict` for a closed order.
    """
    order = _open(session, purchase_id)
    stored.change_purchase(session, order["id"], {"state": "cancelled", "closed_on": today})
    name_changed(purchase_id=purchase_id, item_id=order["item_id"])
    return describe_purchase(session, purchase_id)


def _supply_days(session: Session, item: Mapping[str, Any]) -> int:
    seen = np.array(stored.supply_days_seen(session).get(item["item_id"], []))
    return ceil(learnt_supply(item["supply_days"], item["supply_days_sd"], seen)[0])


def _in_pieces(item: Mapping[str, Any], quantity: float) -> None:
    pack = pack_of(item)
    if pack and abs(quantity / pack - round(quantity / pack)) > 1e-6:
        raise Refused(
            f"{quantity:g} of {item['item_id']} are no whole pieces: a piece holds {pack:g}.",
            where="quantity",
            accepted=f"{pack:g}, {2 * pack:g}, {3 * pack:g}, ...",
            remedy="Order whole pieces, or correct what a piece of the item holds.",
        )


def _not_ahead(on: date, today: date, where: str) -> None:
    if on > today:
        raise Refused(
            f"{on} has not come yet.",
            where=where,
            accepted=f"{today} or earlier",
            remedy="Correct the day.",
        )


def _open(session: Session, purchase_id: str) -> dict[str, Any]:
    order = _found(session, purchase_id, lock=True)
    if order["state"] not in OPEN_PURCHASES:
        raise Conflict(
            f"Order {purchase_id} is closed: {order['state']} on {order['closed_on']}.",
            where="purchase_id",
            accepted="an order that is open",
            remedy="Write a receipt into the stock book, or order again.",
        )
    return order


def _found(session: Session, purchase_id: str, *, lock: bool = False) -> dict[str, Any]:
    order = stored.find_purchase(session, purchase_id, lock=lock)
    if order is None:
        raise NotFound(
            f"There is no order {purchase_id!r} of a stock item.",
            where="purchase_id",
            remedy="Look it up in the list: GET /v1/purchases",
        )
    return order


def _supplier(session: Session, supplier_id: str) -> dict[str, Any]:
    supplier = stored.find_supplier(session, supplier_id)
    if supplier is None:
        raise NotFound(
            f"There is no supplier {supplier_id!r}.",
            where="supplier_id",
            remedy="Keep it first: PUT /v1/suppliers/{supplier_id}, or: solespan purchase supplier",
        )
    return supplier


def _told(row: Mapping[str, Any]) -> dict[str, Any]:
    """Make a row's days ISO text, and leave its number out."""
    values = {name: value for name, value in row.items() if name != "id"}
    return {k: v.isoformat() if isinstance(v, date) else v for k, v in values.items()}
