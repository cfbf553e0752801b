"""Backup storage: which rows does a tenant have beside the log, and how are they put back?

A row is told by the ids that people know, never by the database's numbers. What is computed again,
what was sent, and every secret stay out.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import islice
from typing import Any

import sqlalchemy as sa
from sqlalchemy.exc import IntegrityError, StatementError
from sqlalchemy.orm import Session

from solespan.api.storage.change_capture import CHANGED_PKS, KEPT_TOO, decoded, encoded
from solespan.api.storage.tables.bench import (
    BenchEvent,
    BenchOrder,
    BenchPaper,
    BenchPhoto,
    DueOutcome,
    ShopSetting,
    StockItem,
    StockMove,
)
from solespan.api.storage.tables.notices import Consent, StoppedAddress
from solespan.api.storage.tables.pair_extras import PairPhoto
from solespan.api.storage.tables.planning import (
    CareDone,
    CareRuleRow,
    PairTraits,
    RackPlanRow,
    RouteRow,
)
from solespan.api.storage.tables.purchases import PurchaseOrder, Supplier
from solespan.api.storage.tables.rack import Pair, Wearer

__all__ = ["PARTS", "BadRow", "Put", "put_rows", "read_rows"]

ROWS_AT_ONCE = 500
OWNERS: dict[str, Any] = {
    "wearer_pk": Wearer.wearer_id,
    "pair_pk": Pair.pair_id,
    "order_pk": BenchOrder.order_id,
    "item_pk": StockItem.item_id,
    "supplier_pk": Supplier.supplier_id,
}
# A plan gets a new id, as its old one may be in use in another account.
_NUMBERS = ("plan_id", "id", "tenant_pk", "version", "created_at", "updated_at")
# Settings that the program keeps for itself.
_OWN_SETTINGS = (
    "notices_stuck",
    "look_back",
    "forecast_followed",
    "bench_waits",
    "reminder_keys",
)


@dataclass(frozen=True)
class Part:
    """One table: the columns by which a row is known, and whether a row there stays as it is.

    `kept` are columns that stay in a row that is there.
    """

    mapped: Any
    key: tuple[str, ...]
    stays: bool = False
    kept: tuple[str, ...] = ()

    @property
    def table(self) -> Any:
        """The table."""
        return self.mapped.__table__

    @property
    def owners(self) -> dict[str, str]:
        """The foreign keys, and the names by which a row tells them."""
        return {name: OWNERS[name].key for name in OWNERS if name in self.table.c}

    @property
    def columns(self) -> list[str]:
        """The columns of its own that a row tells."""
        return [c.name for c in self.table.c if c.name not in (*_NUMBERS, *OWNERS)]


# Owners stand before what belongs to them.
PARTS: dict[str, Part] = {
    part.table.name: part
    for part in (
        Part(ShopSetting, ("name",)),
        Part(PairTraits, ("pair_id",)),
        Part(RouteRow, ("wearer_id", "route_id")),
        Part(CareRuleRow, ("wearer_id", "upper", "care")),
        Part(CareDone, ("pair_id", "care", "done_on"), stays=True),
        Part(RackPlanRow, ("wearer_id", "made_at"), stays=True),
        Part(BenchOrder, ("order_id",)),
        Part(BenchEvent, ("order_id", "at", "to_stage"), stays=True),
        Part(BenchPaper, ("order_id", "kind")),
        Part(BenchPhoto, ("photo_id",), stays=True),
        Part(PairPhoto, ("photo_id",), stays=True),
        Part(Supplier, ("supplier_id",)),
        Part(StockItem, ("item_id",), kept=("quantity",)),
        Part(StockMove, ("item_id", "at", "reason"), stays=True),
        Part(PurchaseOrder, ("purchase_id",)),
        Part(DueOutcome, ("pair_id", "due_on")),
        # A consent that was withdrawn since must not come back.
        Part(Consent, ("wearer_id", "channel"), stays=True),
        Part(StoppedAddress, ("address_hash",), stays=True),
    )
}


class BadRow(ValueError):
    """A row cannot be put back."""


@dataclass
class Put:
    """How many rows were put back, and what became of them."""

    rows: int = 0
    new: int = 0
    updated: int = 0


def read_rows(session: Session, name: str) -> Iterator[dict[str, Any]]:
    """Yield the rows of a table as JSON values, in the order in which they were made."""
    part = PARTS[name]
    query = _query(part, part.columns)
    if name == "shop_settings":
        query = query.where(part.table.c.name.not_in(_OWN_SETTINGS))
    elif name == "due_outcomes":
        query = query.where(part.table.c.supposed.is_(sa.false()))
    for row in session.execute(query).yield_per(ROWS_AT_ONCE).mappings():
        yield {key: encoded(value) for key, value in row.items() if key != "id"}


def _query(part: Part, columns: Iterable[str]) -> sa.Select[Any]:
    table = part.table
    source = table
    told = [table.c.id, *(table.c[name] for name in columns)]
    for link, name in part.owners.items():
        owner = OWNERS[link].class_.__table__
        source = source.outerjoin(owner, table.c[link] == owner.c.id)
        told.append(owner.c[name])
    return sa.select(*told).select_from(source).order_by(table.c.id)


def put_rows(session: Session, name: str, rows: Iterable[Mapping[str, Any]]) -> Put:
    """Add the rows that are not there, and replace those that differ. Raises `BadRow`."""
    part, put = PARTS[name], Put()
    try:
        there = _there(session, part)
        pks = {link: _owner_pks(session, link) for link in part.owners}
        left = iter(rows)
        while some := list(islice(left, ROWS_AT_ONCE)):
            _put(session, part, some, there, pks, put)
    except IntegrityError as cause:
        raise BadRow(f"{name}: a row stands in another account of this program") from cause
    except (AttributeError, LookupError, StatementError, TypeError, ValueError) as cause:
        raise cause if isinstance(cause, BadRow) else BadRow(f"{name}: {cause}") from cause
    if name == "shop_settings":
        for names in [key for key in session.info if isinstance(key, tuple)]:
            del session.info[names]
    return put


def _there(session: Session, part: Part) -> dict[tuple[Any, ...], tuple[int, dict[str, Any]]]:
    """Return the rows that are there by their key; those that stay only as keys."""
    own = part.columns
    columns = [name for name in own if name in part.key] if part.stays else own
    found = {}
    for row in session.execute(_query(part, columns)).mappings():
        told = {key: encoded(value) for key, value in row.items()}
        found[tuple(told[key] for key in part.key)] = (int(told.pop("id")), told)
    return found


def _owner_pks(session: Session, link: str) -> dict[str, int]:
    column = OWNERS[link]
    return {row[0]: row[1] for row in session.execute(sa.select(column, column.class_.id))}


def _put(
    session: Session,
    part: Part,
    rows: list[Mapping[str, Any]],
    there: Mapping[tuple[Any, ...], tuple[int, dict[str, Any]]],
    pks: Mapping[str, Mapping[str, int]],
    put: Put,
) -> None:
    table, expected = part.table, {*part.columns, *part.owners.values()}
    new, changed = [], []
    for row in rows:
        if set(row) != expected:
            raise BadRow(f"{table.name}: other columns than {', '.join(sorted(expected))}")
        found = there.get(tuple(row[key] for key in part.key))
        if found is not None and (part.stays or _same(part, row, found[1])):
            continue
        values = decoded(table, {name: row[name] for name in part.columns})
        for link, name in part.owners.items():
            if row[name] is None and table.c[link].nullable:
                values[link] = None
            elif row[name] not in pks[link]:
                raise BadRow(f"{table.name}: there is no {name} {row[name]!r}")
            else:
                values[link] = pks[link][row[name]]
        if found is None:
            new.append(values)
        else:
            changed.append({"pk": found[0], **_without(values, part.kept)})
    put.rows += len(rows)
    put.new += len(new)
    put.updated += len(changed)
    if new:
        session.execute(sa.insert(table), new, execution_options={KEPT_TOO: True})
    if changed:
        _update(session, table, changed)


def _same(part: Part, row: Mapping[str, Any], there: Mapping[str, Any]) -> bool:
    return all(row[name] == there[name] for name in row if name not in part.kept)


def _without(values: Mapping[str, Any], names: Iterable[str]) -> dict[str, Any]:
    return {name: value for name, value in values.items() if name not in names}


def _update(session: Session, table: Any, rows: list[dict[str, Any]]) -> None:
    names = [name for name in rows[0] if name != "pk"]
    values: dict[str, Any] = {name: sa.bindparam(f"new_{name}") for name in names}
    if "version" in table.c:
        values["version"] = table.c.version + 1
    query = sa.update(table).where(table.c.id == sa.bindparam("pk")).values(values)
    given = [{"pk": row["pk"], **{f"new_{name}": row[name] for name in names}} for row in rows]
    pks = [row["pk"] for row in rows]
    session.execute(query, given, execution_options={CHANGED_PKS: pks, KEPT_TOO: True})
