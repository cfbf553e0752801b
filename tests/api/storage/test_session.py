"""A transaction is whole: seen by others when it ends well, gone when it does not."""

from __future__ import annotations

import threading
import time
from contextlib import ExitStack

import pytest
from sqlalchemy import func, select, update
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm.exc import StaleDataError

from solespan.api.errors import Busy, DatabaseUnavailable
from solespan.api.storage.session import open_database
from solespan.api.storage.tables.rack import Pair, Wearer


def _count(database) -> int:
    with database.reading() as session:
        return session.scalar(select(func.count()).select_from(Wearer))


def test_what_was_written_is_read_and_what_failed_is_gone(database):
    with database.writing() as session:
        session.add(Wearer(wearer_id="ann"))

    def fail() -> None:
        with database.writing() as session:
            session.add(Wearer(wearer_id="bob"))
            session.flush()
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        fail()
    assert _count(database) == 1


def test_reading_changes_nothing(database):
    with database.reading() as session:
        session.add(Wearer(wearer_id="ann"))
        session.flush()
    assert _count(database) == 0


def test_a_reader_does_not_wait_for_a_writer_and_sees_the_state_before(database):
    with database.writing() as session:
        session.add(Wearer(wearer_id="ann"))
        session.flush()
        assert _count(database) == 0
    assert _count(database) == 1


def test_writers_of_one_process_queue_and_none_is_lost(database):
    with database.writing() as session:
        session.add(Wearer(wearer_id="ann", data_version=0))

    def raise_by_one() -> None:
        for _ in range(5):
            with database.writing() as session:
                wearer = session.scalars(select(Wearer).with_for_update()).one()
                wearer.data_version += 1

    threads = [threading.Thread(target=raise_by_one) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    with database.reading() as session:
        assert session.scalars(select(Wearer.data_version)).one() == 20


def test_another_process_that_writes_makes_this_one_wait_and_then_say_busy(sqlite_address):
    """Two opened databases stand for two processes: they share the file and no lock in memory."""
    ours = open_database(sqlite_address, wait_s=0.2)
    theirs = open_database(sqlite_address)
    begin = time.perf_counter()
    with theirs.writing(), pytest.raises(Busy) as caught, ours.writing():
        pass
    assert time.perf_counter() - begin > 0.1
    assert "again" in caught.value.remedy
    with ours.writing() as session:
        session.add(Wearer(wearer_id="ann"))
    ours.close()
    theirs.close()


def test_who_waits_too_long_for_anothers_row_is_told_busy(new_address):
    ours, theirs = open_database(new_address, wait_s=0.2), open_database(new_address)
    with theirs.writing() as session:
        session.add(Wearer(wearer_id="ann"))

    def rename(door, name: str) -> None:
        with door.writing() as session:
            session.execute(update(Wearer).values(name=name))

    with theirs.writing() as session:
        session.execute(update(Wearer).values(name="theirs"))
        with pytest.raises(Busy):
            rename(ours, "ours")
    rename(ours, "ours")
    for each in (ours, theirs):
        each.close()


def test_where_every_connection_is_in_use_the_next_is_told_busy(new_address):
    database = open_database(new_address, wait_s=0.2)

    def hold_many() -> None:
        with ExitStack() as held:
            for _ in range(100):
                held.enter_context(database.reading()).scalar(select(func.count(Wearer.id)))

    with pytest.raises(Busy, match="connection"):
        hold_many()
    assert _count(database) == 0
    database.close()


def test_a_writer_that_waits_too_long_in_this_process_is_told_busy(sqlite_address):
    database = open_database(sqlite_address, wait_s=0.1)
    with database.writing(), pytest.raises(Busy), database.writing():
        pass
    assert _count(database) == 0
    database.close()


def test_an_edit_of_a_row_that_someone_changed_since_is_not_silently_lost(database):
    with database.writing() as session:
        session.add(Wearer(wearer_id="ann"))
    with database.reading() as session:
        mine = session.scalars(select(Wearer)).one()
        session.expunge(mine)
    with database.writing() as session:
        session.scalars(select(Wearer)).one().name = "theirs"
    mine.name = "mine"
    with pytest.raises(StaleDataError), database.writing() as session:
        session.add(mine)
    with database.reading() as session:
        wearer = session.scalars(select(Wearer)).one()
        assert (wearer.name, wearer.version) == ("theirs", 2)
        assert wearer.updated_at.utcoffset().total_seconds() == 0


def test_a_row_of_nobody_is_refused_and_a_wearers_rows_go_with_the_wearer(database):
    with pytest.raises(IntegrityError), database.writing() as session:
        session.add(Pair(pair_id="p", wearer_pk=99, construction="blake"))
    with database.writing() as session:
        ann = Wearer(wearer_id="ann", pairs=[Pair(pair_id="p", construction="blake")])
        session.add(ann)
    with database.writing() as session:
        session.delete(session.scalars(select(Wearer)).one())
    with database.reading() as session:
        assert session.scalars(select(Pair)).all() == []


def test_a_folder_that_is_not_there_is_an_error_with_a_remedy(tmp_path):
    database = open_database(f"sqlite:///{tmp_path}/none/x.sqlite3")
    with pytest.raises(DatabaseUnavailable, match="unable to open") as caught:
        _count(database)
    assert "folder exists" in caught.value.remedy
