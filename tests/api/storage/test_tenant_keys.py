"""Can a row point into another tenant, and is what points at a row found by an index?"""

from __future__ import annotations

from types import SimpleNamespace

import pytest
from sqlalchemy import delete, func, insert, select
from sqlalchemy.exc import IntegrityError

from solespan.api.storage.change_capture import UNKEPT
from solespan.api.storage.tables.accounts import Tenant
from solespan.api.storage.tables.bench import BenchOrder, StockMove
from solespan.api.storage.tables.keys import TENANT, row_keys
from solespan.api.storage.tables.rack import Root
from solespan.api.storage.tables.results import Fit, ForecastRow
from tests.api.accounts.test_customer_record import fill

BOUND = {
    table: keys
    for table in Root.metadata.sorted_tables
    if TENANT in table.c
    and (keys := [key for key in row_keys(table) if TENANT in key.column.table.c])
}


def test_every_key_between_tables_of_a_tenant_holds_the_tenant():
    assert len(BOUND) > 20
    for table, keys in BOUND.items():
        pairs = {
            tuple((part.parent.name, part.column.name) for part in constraint.elements)
            for constraint in table.foreign_key_constraints
        }
        for key in keys:
            assert ((key.parent.name, "id"), (TENANT, TENANT)) in pairs, (table.name, key.parent)


def test_the_database_refuses_a_row_that_points_into_another_shop(database):
    fill(SimpleNamespace(database=database))
    with database.writing() as session:
        other = Tenant(tenant_id="other", name="Other", kind="shop")
        session.add(other)
        session.flush()
        number = other.id
    theirs = database.for_tenant(number)
    for table in reversed(BOUND):
        with database.writing() as session:
            (row, *_) = session.execute(select(table)).mappings()
            row = dict(row) | {TENANT: number}
            for key in BOUND[table]:
                row[key.parent.name] = session.scalar(select(func.min(key.column)))
            session.execute(delete(table), execution_options={UNKEPT: True})
        with pytest.raises(IntegrityError, match=r"(?i)foreign key"), theirs.writing() as session:
            session.execute(insert(table).values(row), execution_options={UNKEPT: True})


def test_what_points_at_a_deleted_row_is_found_by_an_index_that_begins_with_it(sqlite_database):
    parents = {key.column.table.name for keys in BOUND.values() for key in keys}
    with sqlite_database.engine.connect() as connection:
        for parent in parents:
            query = f"EXPLAIN QUERY PLAN DELETE FROM {parent} WHERE id = 1"
            _, *steps = (told for *_, told in connection.exec_driver_sql(query))
            assert steps, parent
            for told in steps:
                keys = BOUND[Root.metadata.tables[told.split()[1]]]
                pointing = {key.parent.name for key in keys if key.column.table.name == parent}
                assert any(f"{name}=?" in told for name in pointing), (parent, told)


def test_a_deleted_row_empties_what_need_not_go_with_it(database):
    fill(SimpleNamespace(database=database))
    with database.writing() as session:
        session.execute(delete(Fit.__table__))
        session.execute(delete(BenchOrder.__table__))
    with database.reading() as session:
        assert session.scalars(select(ForecastRow.fit_pk)).all() == [None]
        assert session.scalars(select(StockMove.order_pk)).all() == [None]
