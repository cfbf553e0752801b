"""A database is copied row by row into another kind and back, and is the same."""

from __future__ import annotations

import subprocess
import sys
from datetime import UTC, date, datetime

import pytest
from sqlalchemy import insert, inspect, select, text
from sqlalchemy.orm import Session

from solespan.api.cli.copying import run
from solespan.api.errors import Conflict, Refused, SolespanError
from solespan.api.storage import copying
from solespan.api.storage.engine import tell_tenant
from solespan.api.storage.scope import FIRST_TENANT, TenantTable, within
from solespan.api.storage.session import open_database
from solespan.api.storage.tables.accounts import Membership, PersonalLink, Tenant, User
from solespan.api.storage.tables.bench import BenchOrder, BenchPhoto
from solespan.api.storage.tables.rack import Check, Pair, Root, WearDay, Wearer
from solespan.api.storage.tables.results import ImportRun

NOW = datetime(2026, 6, 15, 12, 30, 1, 250_000, tzinfo=UTC)
DAY = date(2026, 6, 1)


@pytest.fixture
def filled(sqlite_address) -> str:
    """Two tenants with the same ids, people, photographs, and numbers with gaps."""
    database = open_database(sqlite_address)
    with database.writing() as session:
        session.add(Tenant(id=7, tenant_id="other", name="Other & Söhne", kind="shop"))
        session.add(User(id=3, email="ada@example.org", password_hash="x"))
        session.flush()
        session.add(Membership(user_pk=3, tenant_pk=7, role="owner"))
    for number in (FIRST_TENANT, 7):
        with database.for_tenant(number).writing() as session:
            fill(session, number)
    database.close()
    return sqlite_address


def fill(session: Session, number: int) -> None:
    pair = Pair(pair_id="oxford", construction="blake", label="Größe 42 👞", size_eu=42.333)
    wearer = Wearer(id=100 * number, wearer_id="ann", name=None, pairs=[pair], created_at=NOW)
    session.add(wearer)
    session.flush()
    days = [
        {"pair_pk": pair.id, "worn_on": date.fromordinal(730_000 + day), "hours": (day + 1) / 77}
        for day in range(1200)
    ]
    session.execute(insert(WearDay.__table__), days)
    check = {"checked_on": DAY, "foot": "left", "point": "ball", "method": "caliper"}
    session.add(Check(pair_pk=pair.id, value_mm=0.1 + 0.2 + number, **check))
    order = BenchOrder(pair_pk=pair.id, work="full_sole", stage="received", booked_on=DAY)
    session.add(order)
    session.flush()
    for byte in range(3):
        content = bytes([byte, 0, 255]) * 1000
        session.add(BenchPhoto(order_pk=order.id, media_type="image/png", content=content))
    session.add(ImportRun(source="x", counts={"a": 1}, report={"ü": [None, 1.5, {"b": True}]}))
    session.add(PersonalLink(tenant_pk=number, wearer_pk=wearer.id, secret_hash=f"h{number}"))


def rows_of(address: str) -> dict[str, list[tuple]]:
    """Every row of every table, all tenants."""
    database = open_database(address)
    found: dict[str, list[tuple]] = {}
    with database.reading() as session:
        tenants = list(session.scalars(select(Tenant.id).order_by(Tenant.id)))
        for table in Root.metadata.sorted_tables:
            whose = tenants if isinstance(table, TenantTable) else tenants[:1]
            for tenant in whose:
                with within(tenant):
                    tell_tenant(session, tenant)
                    query = select(table).order_by(table.c.id)
                    found.setdefault(table.name, []).extend(map(tuple, session.execute(query)))
    database.close()
    return found


@pytest.mark.slow
def test_there_and_back_again_every_row_is_the_same(filled, own_postgres, tmp_path):
    before = rows_of(filled)
    other = own_postgres()
    counts = run(filled, other)
    assert counts["wear_days"] == 2400
    assert rows_of(other) == before
    back = f"sqlite:///{tmp_path}/back.sqlite3"
    assert run(other, back) == counts
    assert rows_of(back) == before


def test_new_rows_are_numbered_behind_the_copied_ones(filled, own_postgres):
    address = own_postgres()
    run(filled, address)
    database = open_database(address)
    with database.writing() as session:
        added = Wearer(wearer_id="new")
        session.add(added)
        session.flush()
        assert added.id > 700
    database.close()


def test_a_target_that_holds_something_is_left_alone(filled, own_database):
    address = own_database()
    database = open_database(address)
    with database.writing() as session:
        session.add(Wearer(wearer_id="mine"))
    database.close()
    before = rows_of(address)
    with pytest.raises(Conflict, match="wearers"):
        run(filled, address)
    assert rows_of(address) == before


def test_a_copy_that_fails_half_way_leaves_the_target_empty(filled, tmp_path, monkeypatch):
    address = f"sqlite:///{tmp_path}/target.sqlite3"

    def fail(*_):
        raise RuntimeError("the power went")

    monkeypatch.setattr("solespan.api.storage.copying._compare", fail)
    with pytest.raises(RuntimeError):
        run(filled, address)
    left = rows_of(address)
    assert {name for name, rows in left.items() if rows} == {"tenants"}
    assert len(left["tenants"]) == 1


def test_a_fresh_process_copies_every_table(filled, tmp_path):
    """Which tables a process knows depends on what it imported before."""
    made = open_database(filled)
    with made.engine.connect() as connection:
        there = set(inspect(connection).get_table_names()) - {"alembic_version"}
    made.close()
    program = "import sys; from solespan.api.cli.copying import run; print(*run(*sys.argv[1:]))"
    target = f"sqlite:///{tmp_path}/target.sqlite3"
    done = subprocess.run(
        [sys.executable, "-c", program, filled, target], check=True, capture_output=True, text=True
    )
    assert set(done.stdout.split()) == there


def test_a_table_that_would_be_left_out_is_named(filled, tmp_path):
    made = open_database(filled)
    with made.engine.begin() as connection:
        connection.exec_driver_sql("CREATE TABLE of_a_plug_in (id INTEGER PRIMARY KEY)")
    made.close()
    with pytest.raises(SolespanError, match="of_a_plug_in") as told:
        run(filled, f"sqlite:///{tmp_path}/target.sqlite3")
    assert told.value.where == "FROM"


@pytest.mark.parametrize("change", ["hours = hours + 1 WHERE id = 700", None])
def test_a_row_that_does_not_arrive_as_it_was_undoes_the_copy(
    filled, tmp_path, monkeypatch, change
):
    address = f"sqlite:///{tmp_path}/target.sqlite3"
    compare = copying._compare

    def damaged(old, new, tenants):
        with within(FIRST_TENANT):
            lost = text("DELETE FROM wear_days WHERE id = 700")
            new.execute(lost if change is None else text(f"UPDATE wear_days SET {change}"))
        compare(old, new, tenants)

    monkeypatch.setattr(copying, "_compare", damaged)
    with pytest.raises(SolespanError, match="wear_days did not arrive as it was: number 700"):
        run(filled, address)
    assert {name for name, rows in rows_of(address).items() if rows} == {"tenants"}


def test_mistaken_addresses_are_named_and_no_file_is_made(filled, tmp_path):
    missing = tmp_path / "missing.sqlite3"
    for source, target, said in (
        (f"sqlite:///{missing}", filled, "no file"),
        (filled, filled, "same database"),
        (filled, "mysql://x/y", "cannot be read"),
        ("postgresql://host:port/x", filled, "cannot be read"),
        (filled, "sqlite://", "names no file"),
    ):
        with pytest.raises(Refused, match=said) as caught:
            run(source, target)
        assert caught.value.where == ("TO" if source == filled else "FROM")
    assert not missing.exists()


@pytest.mark.parametrize(
    "wrong", ["postgresql://x@127.0.0.1:1/x", "sqlite:///{}/no/folder", "{}/text"]
)
def test_what_cannot_be_reached_or_used_is_said_of_its_own_address(filled, tmp_path, wrong):
    """The setting that other commands read has no part in it."""
    (tmp_path / "text").write_text("no database " * 200)
    wrong = wrong.format(tmp_path)
    wrong = wrong if ":" in wrong else f"sqlite:///{wrong}"
    for source, target, where in ((filled, wrong, "TO"), (wrong, filled, "FROM")):
        with pytest.raises(SolespanError) as caught:
            run(source, target)
        assert caught.value.where == where
        said = "\n".join(caught.value.lines())
        assert "SOLESPAN" not in said
        assert "accepted: " in said
        assert "what to do" in said
