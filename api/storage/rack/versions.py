"""Data versions: which wearers' data changed since a fit or a forecast was made?

A change gives all wearers it touches one new number, higher than any given before. So two numbers
of one wearer differ exactly when something changed between, and a wearer with a number above a
fit's changed after that fit. The storage functions that write many rows and the services that
write one call `raise_data_version` in the same transaction.
"""

from __future__ import annotations

from collections.abc import Collection
from functools import cache
from typing import Any

from sqlalchemy import Select, Table, Update, bindparam, func, select, update
from sqlalchemy.orm import Session

from solespan.api.storage.change_capture import UNKEPT
from solespan.api.storage.tables.rack import Wearer
from solespan.api.storage.tables.results import Fit

__all__ = ["newest_data_version", "raise_data_version"]


def newest_data_version(session: Session) -> int:
    """Return the highest number given so far, 0 in an empty database."""
    of_wearers: int | None = session.execute(_of_wearers()).scalar()
    of_fits: int | None = session.execute(_of_fits()).scalar()
    return max(of_wearers or 0, of_fits or 0)


@cache
def _of_wearers() -> Select[Any]:
    return select(func.max(Wearer.__table__.c.data_version))


@cache
def _of_fits() -> Select[Any]:
    return select(func.max(Fit.__table__.c.data_version))


def raise_data_version(session: Session, wearer_pks: Collection[int]) -> int | None:
    """Give some wearers the next number; return it, or None when there are no wearers."""
    if not wearer_pks:
        return None
    number = newest_data_version(session) + 1
    pks = sorted(wearer_pks)
    for start in range(0, len(pks), 500):
        session.execute(_raise(), {"of": pks[start : start + 500], "number": number})
    return number


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
