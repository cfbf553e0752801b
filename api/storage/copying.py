"""Database copy.

How does everything in one database get into another, of the same kind or the other one?

Whole rows go with their numbers, table by table in the order of their dependence. Each tenant's
rows are copied within its own scope. The source is read in one state, the target written in one
transaction. Before its end every row is read back and compared.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import chain, zip_longest

import sqlalchemy as sa
from sqlalchemy.orm import Session

from solespan.api.errors import Conflict, SolespanError
from solespan.api.storage.backup.rows import VERSION_TABLE
from solespan.api.storage.change_capture import UNKEPT
from solespan.api.storage.engine import tell_tenant
from solespan.api.storage.scope import FIRST_TENANT, TenantTable, within
from solespan.api.storage.session import Database
from solespan.api.storage.tables.accounts import Tenant
from solespan.api.storage.tables.rack import Root

__all__ = ["copy_rows"]

ROWS_AT_ONCE = 500
PHOTOGRAPHS_AT_ONCE = 10
_TENANTS: sa.Table = Tenant.__table__  # type: ignore[assignment]


def copy_rows(source: Database, target: Database) -> dict[str, int]:
    """Copy every row of `source` into `target`; return how many, by table.

    Both must be of this program's revision. Raises `SolespanError` where a row does not arrive as
    it was, or a table of the source is not known. Raises `Conflict` when the target holds anything
    but the first tenant that its migration made. Nothing is changed then, nor after any failure.
    """
    with source.reading() as old:
        if old.get_bind().dialect.name == "postgresql":
            # Every table as it was at one moment, though others write meanwhile.
            old.rollback()
            old.connection(execution_options={"isolation_level": "REPEATABLE READ"})
        _refuse_unknown(old)
        tenants = list(old.scalars(sa.select(_TENANTS.c.id).order_by(_TENANTS.c.id)))
        with target.writing() as new:
            _refuse_filled(new)
            new.execute(sa.delete(_TENANTS))
            copied = {
                table.name: sum(_copy(old, new, table, tenant) for tenant in _whose(table, tenants))
                for table in Root.metadata.sorted_tables
            }
            _compare(old, new, tenants)
            for table in Root.metadata.sorted_tables:
                _count_on(new, table, tenants)
    return copied


def _refuse_unknown(old: Session) -> None:
    """Raise where the source has a table that would be left out."""
    there = set(sa.inspect(old.connection()).get_table_names()) - {VERSION_TABLE}
    unknown = sorted(there - set(Root.metadata.tables))
    if unknown:
        raise SolespanError(
            f"The source has a table that is not known: {unknown[0]}.",
            where="FROM",
            accepted="a database with the tables of this program alone",
            remedy="Move that table elsewhere, or use: solespan backup FILE",
        )


def _whose(table: sa.Table, tenants: Sequence[int]) -> Sequence[int]:
    return tenants if isinstance(table, TenantTable) else (FIRST_TENANT,)


def _refuse_filled(new: Session) -> None:
    others = sa.select(sa.func.count()).select_from(_TENANTS).where(_TENANTS.c.id != FIRST_TENANT)
    filled = [
        table.name
        for table in Root.metadata.sorted_tables
        if table is not _TENANTS and _count(new, table, FIRST_TENANT)
    ]
    if new.scalar(others) or filled:
        raise Conflict(
            f"The target is not empty: it holds {', '.join(filled[:3]) or 'several tenants'}.",
            where="TO",
            accepted="an empty database",
            remedy="Give the address of an empty database, or of a SQLite file that is not there.",
        )


def _count(session: Session, table: sa.Table, tenant: int) -> int:
    with within(tenant):
        tell_tenant(session, tenant)
        return session.scalar(sa.select(sa.func.count()).select_from(table)) or 0


def _copy(old: Session, new: Session, table: sa.Table, tenant: int) -> int:
    count = 0
    with within(tenant):
        tell_tenant(old, tenant)
        tell_tenant(new, tenant)
        for rows in _parts(old, table):
            new.execute(sa.insert(table), rows, execution_options={UNKEPT: True})
            count += len(rows)
    return count


def _parts(old: Session, table: sa.Table) -> Iterator[list[dict[str, object]]]:
    heavy = any(isinstance(column.type, sa.LargeBinary) for column in table.c)
    size = PHOTOGRAPHS_AT_ONCE if heavy else ROWS_AT_ONCE
    found = old.execute(
        sa.select(table).order_by(table.c.id), execution_options={"yield_per": size}
    )
    for part in found.mappings().partitions():
        yield [dict(row) for row in part]


def _compare(old: Session, new: Session, tenants: Sequence[int]) -> None:
    for table in Root.metadata.sorted_tables:
        for tenant in _whose(table, tenants):
            with within(tenant):
                tell_tenant(old, tenant)
                tell_tenant(new, tenant)
                rows = (chain.from_iterable(_parts(one, table)) for one in (old, new))
                for kept, arrived in zip_longest(*rows):
                    if kept != arrived:
                        raise _different(table, kept or arrived or {})


def _different(table: sa.Table, row: Mapping[str, object]) -> SolespanError:
    return SolespanError(
        f"A row of {table.name} did not arrive as it was: number {row.get('id')}.",
        where="TO",
        accepted="every row as it is in the source",
        remedy="The copy was undone. Try again while no other program writes.",
    )


def _count_on(new: Session, table: sa.Table, tenants: Sequence[int]) -> None:
    """Let PostgreSQL number new rows behind the copied ones; SQLite does so by itself."""
    if new.get_bind().dialect.name != "postgresql":
        return
    highest = 0
    for tenant in _whose(table, tenants):
        with within(tenant):
            tell_tenant(new, tenant)
            highest = max(highest, new.scalar(sa.select(sa.func.max(table.c.id))) or 0)
    if highest:
        numbers = sa.func.pg_get_serial_sequence(table.name, "id")
        new.execute(sa.select(sa.func.setval(numbers, highest)))
