"""Is background work done once, though several servers and workers run over one database?"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from datetime import timedelta

import pytest
from sqlalchemy import func, select

from solespan.api.services.idempotency import Answered
from solespan.api.services.operation.retention import Sweeper
from solespan.api.services.periodic_loop import LEASE, alone
from solespan.api.settings import Settings
from solespan.api.storage.leases import take_lease
from solespan.api.storage.tables.results import Fit, Lease
from solespan.api.wiring import Services, build_services

PROCESSES = 4


@pytest.fixture
def processes(logged_template, own_database, clock) -> Iterator[list[Services]]:
    """What stands behind two servers and two workers: a rack that was never fitted."""
    settings = Settings(database_url=own_database(logged_template))
    made = [build_services(settings, clock) for _ in range(PROCESSES)]
    yield made
    for services in made:
        services.database.close()


def at_once(work, processes) -> list:
    start, given = threading.Barrier(len(processes)), [None] * len(processes)

    def run(place: int) -> None:
        start.wait()
        given[place] = work(processes[place])

    threads = [threading.Thread(target=run, args=(place,)) for place in range(len(processes))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return given


def count(services, mapped) -> int:
    with services.database.reading() as session:
        return session.scalar(select(func.count()).select_from(mapped))


def die(services, name: str) -> None:
    """Take a lease as a process that is killed then."""
    now = services.clock.now()
    with services.database.writing() as session:
        assert take_lease(session, name, owner="dead", now=now, until=now + LEASE)


def test_one_fit_is_stored_for_one_change(processes, clock):
    at_once(lambda services: services.refitter.round(), processes)
    assert count(processes[0], Fit) == 1
    clock.move(hours=25)
    with processes[0].database.reading() as session:
        assert processes[0].forecaster.count_behind(session) == 2
    at_once(lambda services: services.refitter.round(), processes)
    assert count(processes[0], Fit) == 1, "nothing was logged, so the fit stays"
    with processes[0].database.reading() as session:
        assert processes[0].forecaster.count_behind(session) == 0


def test_another_takes_over_when_one_died(processes, clock):
    one, other = processes[:2]
    die(one, "upkeep")
    other.refitter.wake(refit=True)
    other.refitter.round()
    assert count(other, Fit) == 0
    assert other.refitter.refit_waiting, "what was asked for is done later"
    clock.move(seconds=LEASE.total_seconds())
    other.refitter.round()
    assert count(other, Fit) == 1
    assert not other.refitter.refit_waiting


def test_the_next_look_comes_soon_while_another_works(processes):
    one, other = processes[:2]
    die(one, "upkeep")
    other.refitter.turn()
    assert other.refitter._pause_s < 60


def test_one_sweep_a_day(processes, clock):
    def sweep(services):
        sweeper = Sweeper(services.database, services.clock, services.settings)
        return sweeper.sweep(if_due=True)

    assert sum(bool(gone) for gone in at_once(sweep, processes)) == 1
    clock.move(hours=25)
    assert sum(bool(gone) for gone in at_once(sweep, processes)) == 1


def test_work_that_failed_is_given_back(processes):
    one, other = processes[:2]

    def fail() -> None:
        with alone(one.database, one.clock.now, "work") as mine:
            assert mine
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        fail()
    with alone(other.database, other.clock.now, "work") as mine:
        assert mine
    assert count(one, Lease) == 0


def test_work_that_was_done_rests(processes, clock):
    one, other = processes[:2]
    hour = timedelta(hours=1)
    with alone(one.database, clock.now, "work", rest=hour) as mine:
        assert mine
    for over_rest in (False, True):
        with alone(other.database, clock.now, "work", rest=hour, over_rest=over_rest) as mine:
            assert mine == over_rest
    clock.move(hours=1)
    with alone(other.database, clock.now, "work", rest=hour) as mine:
        assert mine


def test_a_clock_that_was_wrong_stops_no_work_for_ever(processes, clock):
    one, other = processes[:2]
    clock.move(days=365)
    die(one, "work")
    clock.move(days=-365)
    with alone(other.database, clock.now, "work") as mine:
        assert mine


def test_what_has_transactions_of_its_own_is_done_once_under_one_key(processes):
    began = []

    def create() -> Answered:
        began.append(1)
        return Answered(201, {"made": 1})

    given = at_once(lambda s: s.idempotency.once_beside("r", "k", "f", create), processes)
    assert len(began) == 1
    assert sorted(answer.replayed for answer in given) == [False, True, True, True]
