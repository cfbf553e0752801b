"""Data versions: which wearers' data changed since a fit or a forecast was made?

A change gives all wearers it touches one new number, higher than any given before. So two numbers
of one wearer differ exactly when something changed between, and a wearer with a number above a
fit's changed after that fit. The storage functions that write many rows and the services that
write one call `raise_data_version` in the same transaction.

On PostgreSQL a lock lets one transaction of a tenant at a time raise the number. So no two get one
number, and a reader of a number sees every change up to it.
"""

from __future__ import annotations

from collections.abc import Collection
from functools import cache
from typing import Any

from sqlalchemy import Integer, Select, Table, Update, bindparam, cast, func, select, update
from sqlalchemy.orm import Session

from solespan.api.storage.change_capture import UNKEPT
from solespan.api.storage.scope import current_tenant
from solespan.api.storage.tables.rack import Wearer
from solespan.api.storage.tables.results import Fit

__all__ = ["newest_data_version", "raise_data_version"]

# With the tenant's number: any number will do that no other lock of two numbers begins with.
VERSION_LOCK = 7_304_212
PKS_PER_QUERY = 500


def newest_data_version(session: Session) -> int:
    """Return the highest number given so far, 0 in an empty database."""
    of_wearers, of_fits = session.execute(_highest()).one()
    return max(of_wearers or 0, of_fits or 0)


@cache
def _highest() -> Select[Any]:
    tables = Wearer.__table__, Fit.__table__
    return select(*(select(func.max(t.c.data_version)).scalar_subquery() for t in tables))


def raise_data_version(session: Session, wearer_pks: Collection[int]) -> int | None:
    """Give some wearers the next number; return it, or None when there are no wearers.

    Others of the tenant who want a number wait from here until the transaction ends. A transaction
    that touches several wearers locks all of them before.
    """
    if not wearer_pks:
        return None
    pks = sorted(wearer_pks)
    parts = [pks[start : start + PKS_PER_QUERY] for start in range(0, len(pks), PKS_PER_QUERY)]
    if session.get_bind().dialect.name == "postgresql":
        for part in parts:  # else the one who has the number would wait for one who wants it
            session.execute(_lock_rows(), {"of": part}).all()
        session.execute(_LOCK_NUMBERS, {"tenant": current_tenant()})
    number = newest_data_version(session) + 1
    for part in parts:
        session.execute(_raise(), {"of": part, "number": number})
    return number


@cache
def _lock_rows() -> Select[Any]:
    table: Table = Wearer.__table__  # type: ignore[assignment]
    some = table.c.id.in_(bindparam("of", expanding=True))
    return select(table.c.id).where(some).order_by(table.c.id).with_for_update()


_LOCK_NUMBERS = select(func.pg_advisory_xact_lock(VERSION_LOCK, cast(bindparam("tenant"), Integer)))


@cache
def _raise() -> Update:
    # On the table, not the class: the row's own `version` is for edits by people.
    table: Table = Wearer.__table__  # type: ignore[assignment]
    some = table.c.id.in_(bindparam("of", expanding=True))
    return (
        update(table)
        .where(some)
        .values(data_version=bindparam("number"), updated_at=table.c.updated_at)
        .execution_options(**{UNKEPT: True})
    )
