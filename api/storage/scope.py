"""Tenant scope.

Whose rows may this statement see? The one place where every query is scoped to its tenant.

A tenant is one shop, or one collector's rack. Each table derived from
`api.storage.tables.rack.Base` has `tenant_pk`. Inside `Database.reading` and `Database.writing` the
tenant is set; from there on

* wherever such a table is read, it is compiled as the tenant's part of it,
* every UPDATE and DELETE of one gets the condition as well,
* every INSERT gets the number as the column's default.

Outside of both there is no tenant, and a statement fails instead of seeing everything. PostgreSQL's
row-level security is the second wall (`api.storage.engine.tell_tenant`).
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from typing import Any
from uuid import uuid4

import sqlalchemy as sa
from sqlalchemy import Connection, Delete, Engine, Update, event
from sqlalchemy.ext.compiler import compiles
from sqlalchemy.sql.dml import UpdateBase

__all__ = [
    "FIRST_TENANT",
    "UNNOTED",
    "HistoryDraft",
    "TenantTable",
    "changed_anything",
    "changed_records",
    "count_as_change",
    "current_revision_id",
    "current_tenant",
    "history_draft",
    "name_changed",
    "name_import",
    "scope_changes",
    "within",
]

# The embedded default works as this tenant; the migration makes it.
FIRST_TENANT = 1
# The execution option of a statement that only keeps house: it does not count as a change.
UNNOTED = "solespan_unnoted"
# What part of a table SQLite takes a tenant's rows for. Without statistics it takes them for ten
# rows, and joins everything by the tenant. This many are read by an index and never joined by it.
SHARE = "0.01"


@dataclass
class HistoryDraft:
    """What the history will keep of one transaction; see `api.storage.change_capture`."""

    revision_id: str = field(default_factory=lambda: uuid4().hex)
    created: dict[str, list[int]] = field(default_factory=dict)
    lines: list[dict[str, Any]] = field(default_factory=list)
    import_pk: int | None = None
    undoes: int | None = None


@dataclass
class _Visit:
    """One transaction: whose it is, whether it changed a row (or counts as if), and of what."""

    tenant_pk: int
    changed: bool = False
    records: dict[str, list[str]] = field(default_factory=dict)
    history: HistoryDraft = field(default_factory=HistoryDraft)


_VISIT: ContextVar[_Visit] = ContextVar("visit")


def _visit() -> _Visit:
    try:
        return _VISIT.get()
    except LookupError:
        raise RuntimeError("a statement outside of Database.reading or Database.writing") from None


def current_tenant() -> int:
    """Return the number of the tenant whose transaction this is.

    Raises RuntimeError outside of a transaction of ours: then nobody's rows may be seen.
    """
    return _visit().tenant_pk


def history_draft() -> HistoryDraft | None:
    """Return what the history will keep of this transaction; None outside of one of ours."""
    visit = _VISIT.get(None)
    return None if visit is None else visit.history


def name_import(import_pk: int) -> None:
    """Let the revision of this transaction say which import it was."""
    _visit().history.import_pk = import_pk


def current_revision_id() -> str:
    """Return the id that the revision of this transaction will have."""
    return _visit().history.revision_id


def count_as_change() -> None:
    """Let this transaction be noted though it changed nothing: something was handed out."""
    _visit().changed = True


def changed_anything() -> bool:
    """Return whether this transaction wrote to, or deleted from, any table."""
    return _visit().changed


def name_changed(**ids: object) -> None:
    """Let the note of this transaction say what was made or changed: ids and days, no names."""
    for name, value in ids.items():
        values = _visit().records.setdefault(name, [])
        if str(value) not in values:
            values.append(str(value))


def changed_records() -> dict[str, str | list[str]]:
    """Return what `name_changed` was told; several values of one name as a list."""
    return {
        name: values[0] if len(values) == 1 else values for name, values in _visit().records.items()
    }


@contextmanager
def within(tenant_pk: int) -> Iterator[None]:
    """Let every statement of this block be one tenant's."""
    token = _VISIT.set(_Visit(tenant_pk))
    try:
        yield
    finally:
        _VISIT.reset(token)


# Compiled statements are kept and reused, so the value is asked for at each execution.
_MINE = sa.bindparam("tenant_scope", callable_=current_tenant, type_=sa.BigInteger(), unique=False)


class TenantTable(sa.Table):
    """A table whose rows belong to tenants."""

    inherit_cache = True


@compiles(TenantTable)
def _only_the_tenants_rows(
    table: TenantTable,
    compiler: Any,
    *,
    asfrom: bool = False,
    iscrud: bool = False,
    enclosing_alias: Any = None,
    **rest: Any,
) -> str:
    """Write `(SELECT * FROM t WHERE t.tenant_pk = ...) AS t` where a query reads the table."""
    plain: str = compiler.visit_table(
        table, asfrom=asfrom, iscrud=iscrud, enclosing_alias=enclosing_alias, **rest
    )
    if not asfrom or iscrud:
        return plain
    name = compiler.preparer.format_table(table)
    whose = f"{name}.tenant_pk = {compiler.process(_MINE)}"
    if compiler.dialect.name == "sqlite":
        whose = f"likelihood({whose}, {SHARE})"
    mine = f"(SELECT * FROM {name} WHERE {whose})"  # noqa: S608 - a table's name and a parameter
    if enclosing_alias is not None and enclosing_alias.element is table:
        return mine  # the alias writes its own AS
    return f"{mine} AS {plain.rpartition(' AS ')[2]}"


def scope_changes(engine: Engine) -> None:
    """Let every UPDATE and DELETE through this engine touch the tenant's rows only."""
    event.listen(engine, "before_execute", _scoped, retval=True)


def _scoped(
    connection: Connection, statement: Any, many: Any, params: Any, options: Any
) -> tuple[Any, Any, Any]:
    if isinstance(statement, UpdateBase):
        visit = _VISIT.get(None)  # none while migrations run
        if visit is not None and not options.get(UNNOTED):
            visit.changed = True
        if isinstance(statement, Update | Delete) and isinstance(statement.table, TenantTable):
            whose: sa.ColumnElement[bool] = statement.table.c.tenant_pk == _MINE
            if connection.dialect.name == "sqlite":
                whose = sa.func.likelihood(whose, sa.literal_column(SHARE))
            statement = statement.where(whose)
    return statement, many, params
