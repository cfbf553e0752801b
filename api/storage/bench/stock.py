"""Stock storage: how are stock items and the stock book found and written?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from solespan.api.storage.engine import hold_key
from solespan.api.storage.tables.bench import BenchOrder, StockItem, StockMove
from solespan.api.storage.tables.purchases import Supplier
from solespan.api.storage.tables.rack import Pair, Sole

__all__ = [
    "find_item",
    "fitted_pairs",
    "held_item",
    "jobs_by_item",
    "list_items",
    "moves_of",
    "put_item",
    "write_move",
]

_ITEMS: sa.Table = StockItem.__table__  # type: ignore[assignment]
_MOVES: sa.Table = StockMove.__table__  # type: ignore[assignment]
_SUPPLIERS: sa.Table = Supplier.__table__  # type: ignore[assignment]
_HIDDEN = ("created_at", "updated_at", "tenant_pk", "supplier_pk")
_COLUMNS = [c for c in _ITEMS.c if c.name not in _HIDDEN]


def _items() -> sa.Select[Any]:
    link = _ITEMS.c.supplier_pk == _SUPPLIERS.c.id
    source = _ITEMS.outerjoin(_SUPPLIERS, link)
    return sa.select(*_COLUMNS, _SUPPLIERS.c.supplier_id).select_from(source)


def find_item(session: Session, item_id: str, *, lock: bool = False) -> dict[str, Any] | None:
    """Return an item, with its number `id`; with `lock` it stays so until commit."""
    query = _items().where(_ITEMS.c.item_id == item_id)
    if lock:
        query = query.with_for_update(of=_ITEMS)
    row = session.execute(query).mappings().one_or_none()
    return None if row is None else dict(row)


def list_items(
    session: Session, *, use: str | None = None, lock: bool = False
) -> list[dict[str, Any]]:
    """Return every item, or those of one use, by id."""
    query = _items().order_by(_ITEMS.c.item_id)
    if use is not None:
        query = query.where(_ITEMS.c.use == use)
    if lock:
        query = query.with_for_update(of=_ITEMS)
    return [dict(row) for row in session.execute(query).mappings()]


def held_item(session: Session, item_id: str) -> dict[str, Any] | None:
    """Return an item, or None; nobody else writes one of this name until commit."""
    hold_key(session, "stock", item_id)
    return find_item(session, item_id, lock=True)


def put_item(session: Session, item_id: str, values: Mapping[str, Any]) -> bool:
    """Write an item or replace how it is supplied; return whether it is new."""
    there = held_item(session, item_id)
    if there is None:
        session.execute(sa.insert(_ITEMS).values(item_id=item_id, **values))
        return True
    query = sa.update(_ITEMS).where(_ITEMS.c.id == there["id"])
    session.execute(query.values(**values, version=_ITEMS.c.version + 1))
    return False


def write_move(
    session: Session, item: Mapping[str, Any], change: float, quantity_after: float, **values: Any
) -> None:
    """Write one line of the stock book, and what is there after it."""
    session.execute(
        sa.insert(_MOVES).values(
            item_pk=item["id"], change=change, quantity_after=quantity_after, **values
        )
    )
    query = sa.update(_ITEMS).where(_ITEMS.c.id == item["id"])
    session.execute(query.values(quantity=quantity_after, version=_ITEMS.c.version + 1))


def jobs_by_item(session: Session) -> dict[int, int]:
    """Return how many jobs took each item, by its number."""
    query = sa.select(_MOVES.c.item_pk, sa.func.count()).where(_MOVES.c.reason == "use")
    return {row[0]: row[1] for row in session.execute(query.group_by(_MOVES.c.item_pk))}


def fitted_pairs(session: Session) -> list[tuple[float | None, str, int]]:
    """Return sizes and materials of the soles that pairs have on, with their counts."""
    query = (
        sa.select(Pair.size_eu, Sole.material, sa.func.count())
        .join(Sole, Sole.pair_pk == Pair.id)
        .where(Sole.removed_on.is_(None))
        .group_by(Pair.size_eu, Sole.material)
    )
    return [(row[0], row[1], row[2]) for row in session.execute(query)]


def moves_of(session: Session, item_pk: int, limit: int) -> list[dict[str, Any]]:
    """Return the newest lines of an item's book."""
    query = (
        sa.select(
            _MOVES.c.at,
            _MOVES.c.reason,
            _MOVES.c.change,
            _MOVES.c.quantity_after,
            _MOVES.c.note,
            BenchOrder.order_id,
        )
        .outerjoin(BenchOrder, _MOVES.c.order_pk == BenchOrder.id)
        .where(_MOVES.c.item_pk == item_pk)
        .order_by(_MOVES.c.id.desc())
        .limit(limit)
    )
    return [dict(row) for row in session.execute(query).mappings()]
