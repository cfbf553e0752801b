"""Do the migrations make what the tables say, and are other versions recognised?"""

from __future__ import annotations

import subprocess
import sys
from types import SimpleNamespace

import pytest
from alembic import command
from alembic.script import ScriptDirectory
from sqlalchemy import inspect, select, text

from solespan.api.errors import DatabaseTooNew, SolespanError
from solespan.api.storage.accounts import accounts
from solespan.api.storage.schema import (
    DatabaseOld,
    alembic_config,
    migrate,
    newest_revision,
    prepare,
    revision_of,
)
from solespan.api.storage.session import open_database
from solespan.api.storage.tables import results
from solespan.api.storage.tables.rack import Base, Pair
from tests.api.accounts.test_customer_record import MARK, NOW, fill

EVERY_TABLE = """
import importlib, pkgutil
import solespan.api.storage.session
import solespan.api.storage.tables as tables
from solespan.api.storage.tables.rack import Root
known = set(Root.metadata.tables)
for module in pkgutil.iter_modules(tables.__path__, tables.__name__ + "."):
    importlib.import_module(module.name)
assert known == set(Root.metadata.tables), set(Root.metadata.tables) - known
"""


def test_whoever_opens_a_database_knows_every_table():
    """Copies, exports of a customer and the history walk the tables that a process knows."""
    subprocess.run([sys.executable, "-c", EVERY_TABLE], check=True)


def _normal(sql: str) -> str:
    return "".join(c for c in sql.lower() if c not in " ()\n\t")


def _described(database) -> dict:
    """Everything that the database itself knows of each table, in a comparable form."""
    seen = inspect(database.engine)
    out = {}
    for name in seen.get_table_names():
        if name == "alembic_version":
            continue
        checks = {c["name"]: _normal(c["sqltext"]) for c in seen.get_check_constraints(name)}
        out[name] = {
            "columns": {
                c["name"]: (str(c["type"]), c["nullable"], c["default"])
                for c in seen.get_columns(name)
            },
            "checks": checks,
            "unique": sorted(tuple(u["column_names"]) for u in seen.get_unique_constraints(name)),
            "indexes": sorted(
                (i["name"], tuple(i["column_names"])) for i in seen.get_indexes(name)
            ),
            "foreign": sorted(
                (*f["constrained_columns"], f["referred_table"], *map(str, f["options"].items()))
                for f in seen.get_foreign_keys(name)
            ),
        }
    return out


def test_the_tables_and_the_migrations_agree(database):
    with database.engine.connect() as connection:
        command.check(alembic_config(connection))


def test_even_constraints_agree_which_the_comparison_tool_does_not_look_at(database, tmp_path):
    by_migrations = _described(database)
    assert by_migrations
    if database.engine.dialect.name == "sqlite":
        direct = open_database(f"sqlite:///{tmp_path}/direct.sqlite3")
    else:
        direct = database
        migrate(database, "base")
    with direct.writing() as session:
        Base.metadata.create_all(session.connection())
    assert _described(direct) == by_migrations
    direct.close()


@pytest.mark.slow
def test_down_and_up_again_gives_the_same_schema(database):
    first = _described(database)
    assert migrate(database, "base") == (newest_revision(), None)
    assert _described(database) == {}
    assert migrate(database) == (None, newest_revision())
    assert _described(database) == first


def _counts(database) -> dict[str, int]:
    """How many rows of the tenant each table has, asked without knowing the tables."""
    with database.reading() as session:
        names = inspect(session.connection()).get_table_names()
        return {
            name: session.scalar(text(f"SELECT count(*) FROM {name}"))
            for name in names
            if name != "alembic_version"
        }


@pytest.mark.slow
def test_down_step_by_step_and_up_again_with_rows_in_every_table(database):
    fill(SimpleNamespace(database=database))
    with database.writing() as session:
        first = {"tenant_pk": 1, "email": "new@example.org", "role": "staff", "secret_hash": "h"}
        accounts.put_invitation(session, expires_at=NOW, new_password=False, **first)
        ann = accounts.add_person(session, email="ann@example.org", password_hash="x")
        accounts.join(session, user_pk=ann, tenant_pk=1, role="owner")
    full = _counts(database)
    steps = ScriptDirectory.from_config(alembic_config()).walk_revisions()
    below = [step.down_revision for step in steps if step.down_revision]
    kept = full
    for revision in below:
        migrate(database, revision)
        left = _counts(database)
        kept = {name: kept[name] for name in left}
        assert left == kept, revision
    assert kept["wear_days"] == kept["pairs"] == 1
    migrate(database)
    again = _counts(database)
    assert {name: again[name] for name in kept} == kept
    with database.reading() as session:
        assert session.scalars(select(Pair.label)).all() == [MARK]


def test_an_empty_database_is_prepared_without_being_asked(tmp_path):
    database = open_database(f"sqlite:///{tmp_path}/new.sqlite3")
    prepare(database)
    assert revision_of(database) == newest_revision()
    prepare(database)
    database.close()


def _pretend(database, revision: str) -> None:
    with database.writing() as session:
        session.execute(text("UPDATE alembic_version SET version_num = :r"), {"r": revision})


def test_a_database_of_a_newer_program_is_refused_and_left_alone(database):
    _pretend(database, "9999")
    for attempt in (prepare, migrate):
        with pytest.raises(DatabaseTooNew, match="newer program") as caught:
            attempt(database)
        assert "Install that newer version" in caught.value.remedy
    assert revision_of(database) == "9999"


def test_a_database_of_an_older_program_names_the_command(database, monkeypatch):
    monkeypatch.setattr("solespan.api.storage.schema.newest_revision", lambda: "later")
    with pytest.raises(DatabaseOld) as caught:
        prepare(database)
    assert "solespan migrate" in caught.value.remedy


def test_tables_of_another_program_are_not_touched(tmp_path):
    database = open_database(f"sqlite:///{tmp_path}/other.sqlite3")
    with database.writing() as session:
        session.execute(text("CREATE TABLE recipes (id INTEGER)"))
    with pytest.raises(SolespanError, match="another program: recipes"):
        prepare(database)
    assert inspect(database.engine).get_table_names() == ["recipes"]
    database.close()


def test_every_result_table_is_in_the_schema(sqlite_database):
    names = set(_described(sqlite_database))
    assert {results.Fit.__tablename__, results.ForecastRow.__tablename__} <= names
