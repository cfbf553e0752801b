"""Copied rows: how do many rows reach PostgreSQL at once, within the tenant's wall?

Rows arrive by COPY in a table that ends with the transaction; one statement then puts them in
place. Row-level security allows no COPY into the table itself.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import sqlalchemy as sa
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

from solespan.api.storage.change_capture import UNKEPT

__all__ = ["COPY_FROM_ROWS", "copied", "is_copied"]

COPY_FROM_ROWS = 200


def is_copied(session: Session, rows: int) -> bool:
    """Return whether so many rows go by COPY: many, and to PostgreSQL."""
    return rows >= COPY_FROM_ROWS and session.get_bind().dialect.name == "postgresql"


def copied(
    session: Session, table: sa.Table, names: Sequence[str], rows: Iterable[Sequence[Any]]
) -> list[int]:
    """Insert rows given as values of the named columns; return their numbers.

    Columns that are not named get their defaults. The history is not told.
    """
    connection = session.connection()
    stage = sa.table(f"{table.name}_to_come", *(sa.column(n, table.c[n].type) for n in names))
    listed = ", ".join(names)
    empty = f"SELECT {listed} FROM {table.name} WITH NO DATA"  # noqa: S608 - our own names
    connection.exec_driver_sql(f"CREATE TEMPORARY TABLE {stage.name} ON COMMIT DROP AS {empty}")
    into = f"COPY {stage.name} ({listed}) FROM STDIN"
    driver: Any = connection.connection.driver_connection
    failure: Any = connection.dialect.dbapi
    try:
        with driver.cursor() as cursor, cursor.copy(into) as copy:
            for row in rows:
                copy.write_row(row)
    except failure.Error as cause:  # as it would be told of any other statement
        raise DBAPIError.instance(into, None, cause, failure.Error) from cause
    put = sa.insert(table).from_select(names, sa.select(*stage.c)).returning(table.c.id)
    pks = list(connection.execute(put, execution_options={UNKEPT: True}).scalars())
    connection.exec_driver_sql(f"DROP TABLE {stage.name}")
    return pks
