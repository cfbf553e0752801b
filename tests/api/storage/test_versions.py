"""Does every change get a number of its own, and a fit none that it has not seen?"""

from __future__ import annotations

import threading
from collections.abc import Iterator

import pytest

from solespan.api.errors import Busy
from solespan.api.storage.rack.versions import newest_data_version, raise_data_version
from solespan.api.storage.session import Database, open_database
from solespan.api.storage.tables.rack import Wearer

NAMES = ("ann", "bob", "cy")


@pytest.fixture
def two(new_address) -> Iterator[tuple[Database, Database]]:
    """Two processes' doors to one database with three wearers; the second never waits long."""
    opened = open_database(new_address), open_database(new_address, wait_s=0.05)
    with opened[0].writing() as session:
        session.add_all([Wearer(wearer_id=name) for name in NAMES])
    yield opened
    for database in opened:
        database.close()


def number_of(database: Database) -> int:
    with database.reading() as session:
        return newest_data_version(session)


def test_who_writes_between_anothers_change_and_its_commit_gets_no_number(two):
    one, other = two
    with one.writing() as session:
        assert raise_data_version(session, [1]) == 1
        with pytest.raises(Busy), other.writing() as later:
            raise_data_version(later, [2])
        assert number_of(other) == 0, "a fit that reads now has seen neither"
    with other.writing() as session:
        assert raise_data_version(session, [2]) == 2
    assert number_of(one) == 2


def test_writers_at_once_get_one_number_each(new_address):
    writers = 6
    database = open_database(new_address)
    with database.writing() as session:
        wearers = [Wearer(wearer_id=f"w{n}") for n in range(writers)]
        session.add_all(wearers)
        session.flush()
        pks = [wearer.id for wearer in wearers]
    start, given = threading.Barrier(writers), []

    def write(pk: int) -> None:
        start.wait()
        with database.writing() as session:
            given.append(raise_data_version(session, [pk, pks[0]]))

    threads = [threading.Thread(target=write, args=(pk,)) for pk in pks]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(given) == list(range(1, writers + 1))
    database.close()


def test_what_is_read_for_a_fit_is_of_one_state(two):
    one, _ = two
    with one.reading(one_state=True) as session:
        before = newest_data_version(session)
        with one.writing() as writer:
            raise_data_version(writer, [3])
        assert newest_data_version(session) == before
    assert number_of(one) == before + 1
