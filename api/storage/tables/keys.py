"""Tenant keys: how does a row point at another row, so that both are always the same tenant's?

`row_of` makes the column. The foreign key holds number and tenant together, so the database itself
refuses a row that points into another tenant. The table pointed at needs a unique
`(id, tenant_pk)`. An index for the deletion of what is pointed at begins with the column.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from sqlalchemy import Column, ForeignKey, ForeignKeyConstraint, Table
from sqlalchemy.orm import MappedColumn, mapped_column

from solespan.api.storage.tables.types import BigId

__all__ = ["TENANT", "row_keys", "row_of", "tenant_keys"]

TENANT = "tenant_pk"
_TARGET = "solespan_row_of"


def row_of(table: str, *, emptied: bool = False, **options: Any) -> MappedColumn[Any]:
    """Point at a row of a table of the same tenant: go with it, or be emptied when it goes."""
    key = [ForeignKey(f"{table}.id", ondelete="SET NULL")] if emptied else []
    return mapped_column(BigId, *key, info={_TARGET: (table, emptied)}, **options)


def tenant_keys(name: str, parts: tuple[Any, ...]) -> Iterator[ForeignKeyConstraint]:
    """Yield the keys of number and tenant that the columns of a new table ask for.

    What is emptied has a key of its own for that: `tenant_pk` must not be emptied along. The key
    with the tenant then looks at the end of the transaction, when the number is gone.
    """
    for column in parts:
        if isinstance(column, Column) and _TARGET in column.info:
            target, emptied = column.info[_TARGET]
            late = {"name": f"fk_{name}_{column.name}_tenant", "initially": "DEFERRED"}
            rule: dict[str, Any] = (
                late | {"deferrable": True} if emptied else {"ondelete": "CASCADE"}
            )
            columns = (column.name, TENANT)
            yield ForeignKeyConstraint(columns, (f"{target}.id", f"{target}.{TENANT}"), **rule)


def row_keys(table: Table) -> Iterator[ForeignKey]:
    """Yield the foreign keys of a table but those of its tenant: one a rule of deletion."""
    for key in table.foreign_keys:
        if key.parent.name != TENANT and key.ondelete:
            yield key
