"""Purchase storage: how are suppliers and orders of stock items found and written?"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any
from uuid import uuid4

import sqlalchemy as sa
from sqlalchemy.orm import Session

from solespan.api.bench_words import OPEN_PURCHASES
from solespan.api.storage.engine import hold_key
from solespan.api.storage.tables.bench import StockItem
from solespan.api.storage.tables.purchases import PurchaseOrder, Supplier

__all__ = [
    "change_purchase",
    "find_purchase",
    "find_supplier",
    "held_supplier",
    "list_purchases",
    "list_suppliers",
    "open_by_item",
    "put_supplier",
    "supply_days_seen",
    "write_purchase",
]

_SUPPLIERS: sa.Table = Supplier.__table__  # type: ignore[assignment]
_PURCHASES: sa.Table = PurchaseOrder.__table__  # type: ignore[assignment]
_ITEMS: sa.Table = StockItem.__table__  # type: ignore[assignment]
_HIDDEN = ("created_at", "updated_at", "tenant_pk", "item_pk", "supplier_pk")
_OPEN = _PURCHASES.c.state.in_(OPEN_PURCHASES)


def _columns(table: sa.Table) -> list[sa.Column[Any]]:
    return [column for column in table.c if column.name not in _HIDDEN]


def find_supplier(session: Session, supplier_id: str) -> dict[str, Any] | None:
    """Return a supplier with its number `id`."""
    query = sa.select(*_columns(_SUPPLIERS)).where(_SUPPLIERS.c.supplier_id == supplier_id)
    row = session.execute(query).mappings().one_or_none()
    return None if row is None else dict(row)


def list_suppliers(session: Session) -> list[dict[str, Any]]:
    """Return every supplier by id."""
    query = sa.select(*_columns(_SUPPLIERS)).order_by(_SUPPLIERS.c.supplier_id)
    return [dict(row) for row in session.execute(query).mappings()]


def held_supplier(session: Session, supplier_id: str) -> dict[str, Any] | None:
    """Return a supplier, or None; nobody else writes one of this name until commit."""
    hold_key(session, "supplier", supplier_id)
    return find_supplier(session, supplier_id)


def put_supplier(session: Session, supplier_id: str, values: Mapping[str, Any]) -> bool:
    """Write a supplier or replace what is kept of it; return whether it is new."""
    there = held_supplier(session, supplier_id)
    if there is None:
        session.execute(sa.insert(_SUPPLIERS).values(supplier_id=supplier_id, **values))
        return True
    query = sa.update(_SUPPLIERS).where(_SUPPLIERS.c.id == there["id"])
    session.execute(query.values(**values, version=_SUPPLIERS.c.version + 1))
    return False


def _purchases() -> sa.Select[Any]:
    return (
        sa.select(*_columns(_PURCHASES), _ITEMS.c.item_id, _SUPPLIERS.c.supplier_id)
        .select_from(_PURCHASES)
        .join(_ITEMS, _PURCHASES.c.item_pk == _ITEMS.c.id)
        .outerjoin(_SUPPLIERS, _PURCHASES.c.supplier_pk == _SUPPLIERS.c.id)
    )


def find_purchase(
    session: Session, purchase_id: str, *, lock: bool = False
) -> dict[str, Any] | None:
    """Return an order with its number `id`; with `lock` it stays so until commit."""
    query = _purchases().where(_PURCHASES.c.purchase_id == purchase_id)
    if lock:
        query = query.with_for_update(of=_PURCHASES)
    row = session.execute(query).mappings().one_or_none()
    return None if row is None else dict(row)


def list_purchases(
    session: Session, *, item_id: str | None = None, state: str | None = None, limit: int = 500
) -> list[dict[str, Any]]:
    """Return orders: open ones by the day expected, then closed ones, the newest first."""
    closed = sa.case((_OPEN, 0), else_=1)
    query = _purchases().order_by(
        closed, sa.case((_OPEN, _PURCHASES.c.expected_on)), _PURCHASES.c.id.desc()
    )
    if item_id is not None:
        query = query.where(_ITEMS.c.item_id == item_id)
    if state is not None:
        query = query.where(_PURCHASES.c.state == state)
    return [dict(row) for row in session.execute(query.limit(limit)).mappings()]


def write_purchase(session: Session, values: Mapping[str, Any]) -> str:
    """Write an order; return its public id."""
    purchase_id = uuid4().hex
    session.execute(sa.insert(_PURCHASES).values(purchase_id=purchase_id, **values))
    return purchase_id


def change_purchase(session: Session, pk: int, values: Mapping[str, Any]) -> None:
    """Write what became of an order."""
    query = sa.update(_PURCHASES).where(_PURCHASES.c.id == pk)
    session.execute(query.values(**values, version=_PURCHASES.c.version + 1))


def open_by_item(session: Session) -> dict[str, list[tuple[date, float]]]:
    """Return what is ordered and has not come, with the day expected, by item."""
    left = _PURCHASES.c.quantity - _PURCHASES.c.received
    query = (
        sa.select(_ITEMS.c.item_id, _PURCHASES.c.expected_on, left)
        .select_from(_PURCHASES)
        .join(_ITEMS, _PURCHASES.c.item_pk == _ITEMS.c.id)
        .where(_OPEN)
        .order_by(_PURCHASES.c.id)
    )
    out: dict[str, list[tuple[date, float]]] = {}
    for item_id, expected_on, amount in session.execute(query):
        out.setdefault(item_id, []).append((expected_on, float(amount)))
    return out


def supply_days_seen(session: Session) -> dict[str, list[float]]:
    """Return the days that received orders took until the last of them came, by item."""
    query = (
        sa.select(_ITEMS.c.item_id, _PURCHASES.c.ordered_on, _PURCHASES.c.closed_on)
        .select_from(_PURCHASES)
        .join(_ITEMS, _PURCHASES.c.item_pk == _ITEMS.c.id)
        .where(_PURCHASES.c.state == "received")
        .order_by(_PURCHASES.c.id)
    )
    seen: dict[str, list[float]] = {}
    for item_id, ordered_on, closed_on in session.execute(query):
        seen.setdefault(item_id, []).append(float((closed_on - ordered_on).days))
    return seen
