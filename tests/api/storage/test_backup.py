"""A backup holds every row of every tenant as at one moment, and comes back the same or not at all.

Runs on either kind of database, on PostgreSQL as an ordinary role under row-level security.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlalchemy import delete, inspect, select, text

from solespan.api.errors import Conflict, DatabaseTooNew, Refused, SolespanError
from solespan.api.storage.backup import dump as dumping
from solespan.api.storage.backup import restore as restoring
from solespan.api.storage.backup import sealed_file
from solespan.api.storage.backup.dump import check, dump, opened
from solespan.api.storage.backup.restore import compare, restore
from solespan.api.storage.schema import migrate
from solespan.api.storage.scope import FIRST_TENANT
from solespan.api.storage.session import open_database
from solespan.api.storage.tables.accounts import Tenant
from solespan.api.storage.tables.rack import Wearer
from tests.api.storage.test_copying import fill, rows_of

NOW = datetime(2026, 6, 15, 12, 30, tzinfo=UTC)
PASSPHRASE = "correct horse battery"


@pytest.fixture(autouse=True, scope="module")
def _cheap_keys():
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(sealed_file, "SCRYPT", {"n": 2**4, "r": 8, "p": 1})
        yield


@pytest.fixture
def filled(new_address) -> str:
    """Two tenants with the same ids, and a row that was deleted again."""
    database = open_database(new_address)
    with database.writing() as session:
        session.add(Tenant(id=7, tenant_id="other", name="Other & Söhne", kind="shop"))
    for number in (FIRST_TENANT, 7):
        with database.for_tenant(number).writing() as session:
            fill(session, number)
    with database.writing() as session:
        session.add(Wearer(id=900, wearer_id="gone"))
        session.flush()
        session.execute(delete(Wearer).where(Wearer.wearer_id == "gone"))
        if database.engine.dialect.name == "postgresql":
            session.execute(text("SELECT setval('wearers_id_seq', 900)"))
    database.close()
    return new_address


def back_up(address: str, path: Path, passphrase: str | None = PASSPHRASE) -> Path:
    database = open_database(address)
    try:
        dump(database, path, passphrase=passphrase, now=NOW)
    finally:
        database.close()
    return path


def put_back(address: str, path: Path, passphrase: str | None = PASSPHRASE, **more) -> None:
    database = open_database(address)
    try:
        restore(database, path, passphrase=passphrase, **more)
        compare(database, path, passphrase)
    finally:
        database.close()


@pytest.mark.parametrize("passphrase", [pytest.param(None, marks=pytest.mark.slow), PASSPHRASE])
def test_every_row_comes_back_into_either_kind(filled, own_database, tmp_path, passphrase):
    path = back_up(filled, tmp_path / "a.backup", passphrase)
    assert path.stat().st_mode & 0o077 == 0
    assert [one.name for one in tmp_path.iterdir() if one.suffix != ".sqlite3"] == ["a.backup"]
    assert check(path, passphrase).rows["wear_days"] == 2400
    before = rows_of(filled)
    for target in (own_database(), f"sqlite:///{tmp_path}/new.sqlite3"):
        put_back(target, path, passphrase)
        assert rows_of(target) == before
        again = back_up(target, tmp_path / f"{len(target)}.backup", None)
        assert check(again, None).digests == check(path, passphrase).digests
        database = open_database(target)
        with database.writing() as session:
            session.add(added := Wearer(wearer_id="new"))
            session.flush()
            assert added.id > 900, "the number of a deleted row was given again"
        database.close()


@pytest.mark.slow
def test_a_backup_of_sqlite_becomes_postgresql(sqlite_address, own_postgres, tmp_path):
    database = open_database(sqlite_address)
    with database.writing() as session:
        fill(session, FIRST_TENANT)
    database.close()
    target = own_postgres()
    put_back(target, back_up(sqlite_address, tmp_path / "a.backup"))
    assert rows_of(target) == rows_of(sqlite_address)


def test_a_backup_is_of_one_moment_though_others_write(filled, tmp_path, monkeypatch):
    """A wearer is added, and another goes, after each table was begun."""
    before = rows_of(filled)
    other = open_database(filled)
    lines_of = dumping.lines_of
    written = []

    def lines_while_others_write(*arguments):
        at = None
        for line in lines_of(*arguments):
            if line.table != at:
                at = line.table
                with other.for_tenant(7).writing() as session:
                    session.add(Wearer(wearer_id=f"late {len(written)}"))
                    if not written:
                        session.execute(delete(Wearer).where(Wearer.wearer_id == "ann"))
                written.append(at)
            yield line

    monkeypatch.setattr(dumping, "lines_of", lines_while_others_write)
    path = back_up(filled, tmp_path / "a.backup")
    other.close()
    assert len(written) > 5
    assert rows_of(filled) != before
    target = f"sqlite:///{tmp_path}/new.sqlite3"
    put_back(target, path)
    assert rows_of(target) == before


@pytest.fixture(scope="module")
def whole(_cheap_keys, sqlite_files, tmp_path_factory) -> dict[str | None, bytes]:
    """A small backup in the clear and one that is encrypted."""
    folder = tmp_path_factory.mktemp("backups")
    return {p: back_up(sqlite_files.empty, folder / f"{p}", p).read_bytes() for p in (None, "p")}


def cut(content: bytes, chance: random.Random) -> bytes:
    return content[: chance.randrange(len(content))]


def turn_a_bit(content: bytes, chance: random.Random) -> bytes:
    at = chance.randrange(len(content))
    return content[:at] + bytes([content[at] ^ 1 << chance.randrange(8)]) + content[at + 1 :]


def lengthen(content: bytes, chance: random.Random) -> bytes:
    return content + chance.randbytes(1 + chance.randrange(50))


@pytest.mark.parametrize("harm", [cut, turn_a_bit, lengthen])
@pytest.mark.parametrize("passphrase", [None, "p"])
def test_harm_is_always_noticed(whole, harm: Callable, passphrase, tmp_path):
    chance, path = random.Random(15), tmp_path / "harmed"
    for _ in range(60):
        path.write_bytes(harm(whole[passphrase], chance))
        with pytest.raises(Refused) as caught:
            check(path, passphrase)
        assert caught.value.remedy


def test_frames_cannot_be_left_out_repeated_or_moved(tmp_path, monkeypatch):
    monkeypatch.setattr(sealed_file, "FRAME_BYTES", 16)
    path = tmp_path / "sealed"
    with path.open("wb") as out, sealed_file.SealedWriter(out, "p") as sealed:
        sealed.write(bytes(range(64)))
    content = path.read_bytes()
    head, frames = content[: -4 * 36], [content[len(content) - 36 * n :][:36] for n in (4, 3, 2, 1)]
    for wrong in ([0, 1, 2], [0, 2, 1, 3], [0, 1, 1, 2, 3], [0, 1, 3], [3]):
        path.write_bytes(head + b"".join(frames[i] for i in wrong))
        with path.open("rb") as source, pytest.raises(Refused):
            sealed_file.SealedReader(source, "p").readall()
    path.write_bytes(head + b"".join(frames))
    with path.open("rb") as source:
        assert sealed_file.SealedReader(source, "p").readall() == bytes(range(64))


def test_what_cannot_be_restored_changes_nothing(filled, whole, tmp_path):
    before = rows_of(filled)
    path = tmp_path / "wrong"
    for content, passphrase, said in (
        (whole["p"], "q", "passphrase is wrong"),
        (whole["p"], None, "encrypted"),
        (whole["p"].replace(b"backup 1", b"backup 2", 1), "p", "newer program"),
        (whole[None][:-20], None, "end is missing"),
        (b"", None, "no backup"),
        (b"PK\x03\x04" * 100, None, "no backup"),
    ):
        path.write_bytes(content)
        with pytest.raises(Refused, match=said):
            put_back(filled, path, passphrase, replace=True)
    with pytest.raises(Refused, match="cannot be read"):
        put_back(filled, tmp_path / "missing", replace=True)
    assert rows_of(filled) == before


def test_a_backup_of_a_newer_schema_is_refused(filled, tmp_path, monkeypatch):
    monkeypatch.setattr(dumping, "refuse_newer", lambda _: None)
    monkeypatch.setattr(dumping, "revision_of", lambda _: "9999")
    path = back_up(filled, tmp_path / "a.backup")
    with pytest.raises(DatabaseTooNew, match="made this backup"):
        put_back(f"sqlite:///{tmp_path}/new.sqlite3", path)
    assert not (tmp_path / "new.sqlite3").exists()


@pytest.mark.slow
def test_a_filled_database_is_replaced_only_when_asked(filled, whole, tmp_path):
    path = tmp_path / "a.backup"
    path.write_bytes(whole[None])
    before = rows_of(filled)
    with pytest.raises(Conflict, match="not empty"):
        put_back(filled, path, None)
    assert rows_of(filled) == before
    kept = back_up(filled, tmp_path / "kept.backup")
    put_back(filled, path, None, replace=True)
    assert {name for name, rows in rows_of(filled).items() if rows} == {"tenants"}
    put_back(filled, kept)
    assert rows_of(filled) == before


def test_a_restore_that_fails_half_way_changes_nothing(filled, whole, tmp_path, monkeypatch):
    path = tmp_path / "a.backup"
    path.write_bytes(whole[None])
    before = rows_of(filled)

    def fail(*_):
        raise RuntimeError("the power went")

    monkeypatch.setattr(restoring, "set_numbers", fail)
    with pytest.raises(RuntimeError):
        put_back(filled, path, None, replace=True)
    assert rows_of(filled) == before


def test_a_restored_row_that_differs_is_named(filled, tmp_path):
    path = back_up(filled, tmp_path / "a.backup")
    database = open_database(filled)
    with database.for_tenant(7).writing() as session:
        session.scalars(select(Wearer)).one().name = "Other"
    with pytest.raises(SolespanError, match="differs from the backup in wearers, near row 700"):
        compare(database, path, PASSPHRASE)
    database.close()


def test_a_backup_that_fails_leaves_no_file(filled, tmp_path, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    folder = tmp_path / "folder"
    folder.mkdir()
    old = back_up(filled, folder / "a.backup")
    content = old.read_bytes()
    with pytest.raises(Conflict):
        back_up(filled, old)
    monkeypatch.setattr(dumping, "highest_numbers", full)
    with pytest.raises(Refused, match="No space left"):
        back_up(filled, folder / "b.backup")
    assert [one.name for one in folder.iterdir()] == ["a.backup"]
    assert old.read_bytes() == content


def test_a_large_stream_takes_little_memory(tmp_path):
    """Frames go out as they fill; nothing is gathered."""
    sizes = []

    class Out:
        def write(self, content: bytes) -> None:
            sizes.append(len(content))

    with sealed_file.SealedWriter(Out(), None) as sealed:
        for _ in range(100):
            sealed.write(bytes(50_000))
            assert len(sealed._kept) <= 2 * sealed_file.FRAME_BYTES
    assert max(sizes) < 2 * sealed_file.FRAME_BYTES
    assert sum(sizes) > 5_000_000


def test_a_migration_that_would_delete_rows_asks(filled, monkeypatch):
    """The one revision deletes nothing, so another takes its place here."""
    before = rows_of(filled)
    database = open_database(filled)

    def upgrade(config, _target):
        connection = config.attributes["connection"]
        connection.execute(text("DROP TABLE forecasts"))
        connection.execute(text("DROP TABLE wear_days"))

    monkeypatch.setattr("solespan.api.storage.schema.command.upgrade", upgrade)
    with pytest.raises(Conflict, match=r"2,400 of wear_days\. Nothing") as caught:
        migrate(database, keep_rows=True)
    assert "--yes" in caught.value.remedy
    assert rows_of(filled) == before
    migrate(database)
    assert "wear_days" not in inspect(database.engine).get_table_names()
    database.close()


def test_a_backup_says_what_it_holds(filled, tmp_path):
    path = back_up(filled, tmp_path / "a.backup")
    with opened(path, PASSPHRASE) as content:
        assert content.head["made_at"] == NOW.isoformat()
        assert content.tables["wearers"]["created_at"] == "moment"
