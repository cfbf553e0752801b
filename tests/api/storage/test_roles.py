"""On PostgreSQL one role migrates and another serves: the lesser one does all but change tables."""

from __future__ import annotations

import pytest
from sqlalchemy import make_url
from sqlalchemy.exc import ProgrammingError
from typer.testing import CliRunner

from solespan.api.cli.main import build_app
from solespan.api.errors import BadSetting, DatabaseUnavailable
from solespan.api.services.operation.doctor import examine
from solespan.api.storage.schema import migrate, prepare
from solespan.api.storage.session import open_database
from tests.api.conftest import MovableClock, add_rack, serving


@pytest.fixture
def addresses(own_postgres, postgres_address):
    """Give the addresses of an empty database: by its owner, and by a role that owns nothing."""
    owner = own_postgres()
    role = f"{make_url(owner).username}_serves"
    lesser = make_url(owner).set(username=role, password=None)
    database = open_database(owner)
    migrate(database, "base")
    database.close()
    admin = open_database(postgres_address)
    inside = open_database(str(make_url(postgres_address).set(database=make_url(owner).database)))
    with admin.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as server:
        server.exec_driver_sql(f"CREATE ROLE {role} LOGIN")
        yield owner, lesser.render_as_string(hide_password=False)
        with inside.engine.begin() as connection:
            connection.exec_driver_sql(f"DROP OWNED BY {role}")
        server.exec_driver_sql(f"DROP ROLE {role}")
    inside.close()
    admin.close()


@pytest.fixture
def run(addresses, monkeypatch):
    """Run commands with both addresses."""
    monkeypatch.setenv("SOLESPAN_MIGRATION_DATABASE_URL", addresses[0])
    monkeypatch.setenv("SOLESPAN_DATABASE_URL", addresses[1])

    def run(command: str) -> str:
        done = CliRunner().invoke(build_app(), command.split())
        assert done.exit_code == 0, done.output
        return done.output

    return run


def tables_finding(services) -> str:
    return next(one.state for one in examine(services) if one.subject == "tables")


@pytest.mark.slow
def test_the_role_that_serves_reads_and_writes_rows_and_can_do_no_more(
    addresses, run, running, tmp_path
):
    owner, lesser = addresses
    database = open_database(lesser)
    with pytest.raises(DatabaseUnavailable, match="may not do this") as unprepared:
        prepare(database)
    assert "SOLESPAN_MIGRATION_DATABASE_URL" in unprepared.value.remedy
    database.close()
    assert "from empty" in run("migrate")
    with serving(running, lesser, MovableClock()) as services:
        add_rack(running)
        match = {"if-match": "*"}
        assert running.delete("/v1/pairs/boot?with_all_below=true", headers=match).is_success
        assert running.get("/v1/pairs/oxford").is_success
        assert running.get("/").is_success
        assert tables_finding(services) == "ok"
        for statement in (
            "ALTER TABLE pairs ADD COLUMN more int",
            "ALTER TABLE pairs DISABLE ROW LEVEL SECURITY",
            "DROP TABLE pairs",
            "TRUNCATE pairs",
            "CREATE TABLE more (id int)",
            "UPDATE alembic_version SET version_num = '9'",
        ):
            refused = pytest.raises(ProgrammingError, match=r"permission denied|must be owner")
            with services.database.engine.connect() as connection, refused:
                connection.exec_driver_sql(statement)
    run(f"backup {tmp_path}/one.backup")
    run(f"restore {tmp_path}/one.backup --replace")
    run("drill")
    with serving(running, lesser, MovableClock()):
        assert running.get("/v1/pairs/oxford").is_success
        assert running.get("/v1/pairs/boot").status_code == 404
    with serving(running, owner, MovableClock()) as services:
        assert tables_finding(services) == "warning"


def test_an_owners_address_of_another_database_is_refused(monkeypatch, tmp_path):
    monkeypatch.setenv("SOLESPAN_DATABASE_URL", f"sqlite:///{tmp_path}/one.sqlite3")
    monkeypatch.setenv("SOLESPAN_MIGRATION_DATABASE_URL", "postgresql://owner@localhost/two")
    done = CliRunner().invoke(build_app(), ["migrate"])
    assert isinstance(done.exception, BadSetting), done.output
    assert not list(tmp_path.iterdir())
