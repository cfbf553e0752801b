"""No statement sees or changes another tenant's rows; on PostgreSQL not even a faulty one."""

from __future__ import annotations

import pytest
from sqlalchemy import delete, exists, func, insert, make_url, select, text, update
from sqlalchemy.exc import ProgrammingError, StatementError
from sqlalchemy.orm import aliased

from solespan.api.author import Author
from solespan.api.cli import serve, work
from solespan.api.errors import BadSetting, Conflict, DatabaseUnavailable
from solespan.api.storage import scope
from solespan.api.storage.audit import list_audit
from solespan.api.storage.engine import sees_every_tenant
from solespan.api.storage.schema import migrate, prepare, refuse_unbound_role
from solespan.api.storage.session import open_database
from solespan.api.storage.tables.accounts import AuditEntry, Tenant
from solespan.api.storage.tables.rack import Pair, Root, Wearer


@pytest.fixture
def two(database):
    """Give two tenants' doors to one database; both keep a wearer `ann` with a pair `oxford`."""
    with database.writing() as session:
        other = Tenant(tenant_id="other", name="Other", kind="shop")
        session.add(other)
        session.flush()
        number = other.id
    doors = (database, database.for_tenant(number))
    for door, label in zip(doors, ("mine", "theirs"), strict=True):
        with door.writing() as session:
            pair = Pair(pair_id="oxford", construction="blake", label=label)
            session.add(Wearer(wearer_id="ann", pairs=[pair]))
    return doors


def labels(door) -> list[str]:
    with door.reading() as session:
        return list(session.scalars(select(Pair.label).order_by(Pair.label)))


def test_every_table_is_one_of_a_tenant_or_one_that_a_tenant_is_found_by():
    found_by = {
        "tenants",
        "users",
        "memberships",
        "personal_links",
        "browser_sessions",
        "api_tokens",
        "invitations",
        "connection_codes",
        "home_devices",
        "known_devices",
        "second_factors",
        "recovery_codes",
        "sign_in_steps",
        "passkeys",
        "passkey_challenges",
        "sign_in_tries",
    }
    for table in Root.metadata.tables.values():
        scoped = isinstance(table, scope.TenantTable)
        assert scoped == (table.name not in found_by), table.name


def test_the_same_ids_may_be_used_by_two_tenants_and_each_sees_its_own(two):
    assert [labels(door) for door in two] == [["mine"], ["theirs"]]


def test_joins_aliases_subqueries_and_counts_stay_inside(two):
    again = aliased(Pair)
    for door, label in zip(two, ("mine", "theirs"), strict=True):
        with door.reading() as session:
            joined = select(Pair.label, again.label).join(again, again.pair_id == Pair.pair_id)
            assert session.execute(joined).all() == [(label, label)]
            outer = select(func.count()).select_from(Wearer).outerjoin(Pair)
            assert session.scalar(outer) == 1
            inside = select(Pair.label).where(exists().where(Wearer.wearer_id == "ann"))
            assert session.scalars(inside).all() == [label]
            by_table = select(Pair.__table__.c.label).where(
                Pair.__table__.c.wearer_pk.in_(select(Wearer.id))
            )
            assert session.scalars(by_table).all() == [label]


def test_changes_and_removals_touch_no_other_tenant(two):
    mine, theirs = two
    with mine.writing() as session:
        session.execute(update(Pair).values(label="changed"))
        session.execute(update(Pair.__table__).values(size_eu=42))
    assert [labels(door) for door in two] == [["changed"], ["theirs"]]
    with mine.writing() as session:
        session.execute(delete(Wearer.__table__))
    assert [labels(door) for door in two] == [[], ["theirs"]]
    assert labels(theirs) == ["theirs"]


def test_a_row_loaded_as_an_object_is_not_found_by_number_from_elsewhere(two):
    mine, theirs = two
    with theirs.reading() as session:
        number = session.scalars(select(Pair.id)).one()
    with mine.writing() as session:
        assert session.get(Pair, number) is None
        changed = session.execute(update(Pair).where(Pair.id == number).values(label="stolen"))
        assert changed.rowcount == 0


def test_outside_of_a_transaction_of_ours_a_statement_fails(database):
    with database.engine.connect() as connection, pytest.raises(StatementError, match="outside"):
        connection.execute(select(Pair.__table__.c.label))


def test_a_transaction_within_another_leaves_the_outer_tenant_as_it_was(two):
    mine, theirs = two
    with mine.reading() as outer:
        with theirs.reading() as inner:
            assert inner.scalars(select(Pair.label)).all() == ["theirs"]
        assert outer.scalars(select(Pair.label)).all() == ["mine"]


# SQLite has no row-level security.
class TestTheSecondWall:
    """Row-level security holds where the program's own scope is missing."""

    @pytest.fixture
    def new_address(self, own_postgres):
        return own_postgres()

    @pytest.fixture
    def doors(self, two):
        return two

    def test_our_role_is_bound_by_it(self, doors):
        with doors[0].engine.connect() as connection:
            assert not sees_every_tenant(connection)

    def test_with_accounts_no_other_role_starts_the_service(self, postgres_address, monkeypatch):
        monkeypatch.setenv("SOLESPAN_DATABASE_URL", postgres_address)
        monkeypatch.setenv("SOLESPAN_ACCOUNTS", "true")
        monkeypatch.setattr("solespan.api.storage.schema.prepare", lambda _: None)
        for start in (lambda: serve.run(None, 0), lambda: work.run(once=True)):
            with pytest.raises(BadSetting, match="superuser or bypasses"):
                start()

    def test_nor_one_that_is_no_superuser_but_bypasses_it(self, own_postgres, postgres_address):
        role, address = "bypassing_role", make_url(own_postgres())
        admin = open_database(postgres_address)
        with admin.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as server:
            server.exec_driver_sql(f"CREATE ROLE {role} LOGIN BYPASSRLS")
            mine = address.set(username=role, password=None)
            database = open_database(mine.render_as_string(hide_password=False))
            try:
                with pytest.raises(BadSetting, match="superuser or bypasses"):
                    refuse_unbound_role(database)
            finally:
                database.close()
                server.exec_driver_sql(f"DROP ROLE {role}")
        admin.close()

    def test_a_role_that_may_not_read_is_told_so(self, own_postgres, postgres_address):
        address, admin = make_url(own_postgres()), open_database(postgres_address)
        with admin.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as server:
            server.exec_driver_sql("CREATE ROLE reading_nothing LOGIN")
            mine = address.set(username="reading_nothing", password=None)
            database = open_database(mine.render_as_string(hide_password=False))
            try:
                with pytest.raises(DatabaseUnavailable, match="may not do this"):
                    prepare(database)
            finally:
                database.close()
                server.exec_driver_sql("DROP ROLE reading_nothing")
        admin.close()

    def test_a_statement_without_scope_still_sees_its_tenant_only(self, doors):
        for door, label in zip(doors, ("mine", "theirs"), strict=True):
            with door.reading() as session:
                assert session.execute(text("SELECT label FROM pairs")).all() == [(label,)]
                changed = session.execute(text("UPDATE pairs SET label = 'x'"))
                assert changed.rowcount == 1

    def test_with_no_tenant_told_there_is_nothing_to_see(self, doors):
        with doors[0].reading():
            pass  # the pooled connection was used by a tenant before
        with doors[0].engine.connect() as connection:
            assert connection.execute(text("SELECT label FROM pairs")).all() == []

    def test_a_row_for_another_tenant_is_refused(self, doors):
        mine, theirs = doors
        values = {"wearer_id": "eve", "tenant_pk": theirs.tenant_pk}
        with pytest.raises(ProgrammingError, match="row-level security"), mine.writing() as session:
            session.execute(insert(Wearer.__table__).values(values))

    def test_it_stands_on_every_table_of_a_tenant(self, doors):
        query = text("SELECT relname FROM pg_class WHERE relrowsecurity AND relforcerowsecurity")
        with doors[0].engine.connect() as connection:
            walled = set(connection.scalars(query))
        ours = {t.name for t in Root.metadata.tables.values() if isinstance(t, scope.TenantTable)}
        assert walled == ours


def test_a_change_is_signed_in_its_own_transaction_and_a_look_is_not(database):
    door = database.for_tenant(1, Author("ann", "POST /v1/pairs", {"pair_id": "oxford"}))
    with door.writing() as session:
        session.scalars(select(Pair.label)).all()
    with door.writing() as session:
        session.add(Wearer(wearer_id="ann"))
    with pytest.raises(Conflict), door.writing() as session:
        session.add_all([Wearer(wearer_id="bob"), Wearer(wearer_id="ann")])
    with database.reading() as session:
        (entry,) = list_audit(session, after=None, limit=10)
        assert (entry["actor"], entry["action"]) == ("ann", "POST /v1/pairs")
        assert entry["subject"] == {"pair_id": "oxford"}
        assert session.scalar(select(func.count()).select_from(AuditEntry)) == 1


def test_the_schema_does_not_go_back_while_it_keeps_tenants_apart(two):
    with pytest.raises(RuntimeError, match="more than one tenant"):
        migrate(two[0], "base")
    assert labels(two[1]) == ["theirs"]
