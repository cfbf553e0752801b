"""Does every notice leave the outbox, by whatever channel, and stop where it should?"""

from __future__ import annotations

from datetime import timedelta

import pytest

from solespan.api.channels.message import DeliveryError
from solespan.api.errors import Conflict
from solespan.api.schemas.notices.consents import BounceGiven, ConsentGiven, ConsentWithdrawn
from solespan.api.services.notices import consents
from solespan.api.services.notices.deciding import run
from solespan.api.services.notices.reading import retry
from solespan.api.services.notices.sending import Sender
from solespan.api.storage.notices.consents import is_stopped
from tests.api.notices.people import count_states, rows


class Sink:
    """A channel that keeps what it is given, or fails as it is told."""

    needs_address = True
    missing = ""

    def __init__(self) -> None:
        self.sent = []
        self.failure = None
        self.closed = 0

    def send(self, message) -> None:
        if self.failure is not None:
            raise self.failure
        self.sent.append(message)

    def close(self) -> None:
        self.closed += 1


@pytest.fixture
def sink():
    return Sink()


def sender(shop, sink, name="one", **more):
    return Sender(shop, worker=name, chance=lambda: 0.5, channels={"mail": sink}, **more)


def states(shop):
    with shop.database.reading() as session:
        return count_states(session)


def test_each_customer_who_agreed_gets_one_notice_with_all_their_pairs(either_shop, sink):
    report = run(either_shop)
    assert (report.notices, report.pairs) == (2, 6)
    assert sender(either_shop, sink).drain().sent == 2
    assert {m.address for m in sink.sent} == {"ada@mail.example", "bo@mail.example"}
    assert all(len(m.pairs) == 3 for m in sink.sent)
    assert states(either_shop) == {"sent": 2}
    assert sink.closed == 1


def test_a_second_run_and_a_second_worker_find_nothing_to_do(either_shop, sink):
    run(either_shop)
    assert run(either_shop).notices == 0
    sender(either_shop, sink).drain()
    assert sender(either_shop, sink, "two").drain().handled == 0
    assert len(sink.sent) == 2


def test_two_runs_that_decided_at_once_write_once(either_shop, monkeypatch):
    """Both look before either writes; the second leaves those alone whom the first told."""
    from solespan.api.services.notices import deciding

    seen = deciding.preview(either_shop)
    monkeypatch.setattr(deciding, "preview", lambda _serving: seen)
    assert run(either_shop).notices == 2
    again = run(either_shop)
    assert (again.notices, again.overtaken) == (0, 2)
    assert len(rows(either_shop)) == 2


def test_only_those_named_are_written_to(shop):
    assert run(shop, only={"bo"}).notices == 1
    assert [row["wearer_id"] for row in rows(shop)] == ["bo"]


def test_what_two_workers_claim_is_never_the_same(either_shop, sink):
    run(either_shop)
    first, second = sender(either_shop, sink, batch=1), sender(either_shop, sink, "two", batch=1)
    assert first.once().sent == second.once().sent == 1
    assert len({m.message_id for m in sink.sent}) == 2


def test_a_row_whose_worker_died_is_sent_again_with_the_same_message_id(either_shop, sink, clock):
    run(either_shop, only={"ada"})

    class Killed(BaseException):
        pass

    class Dies(Sink):
        def send(self, message):
            super().send(message)
            raise Killed  # between sending and marking

    dying = Dies()
    with pytest.raises(Killed):
        sender(either_shop, dying).once()
    assert sender(either_shop, sink, "two").once().handled == 0, "the lease still holds"
    clock.move(minutes=11)
    assert sender(either_shop, sink, "two").once().sent == 1
    assert dying.sent[0].message_id == sink.sent[0].message_id
    assert dying.sent[0] == sink.sent[0]


def test_a_worker_that_comes_back_late_marks_nothing(either_shop, sink, clock):
    run(either_shop, only={"ada"})

    class Slow(Sink):
        def send(self, message):
            clock.move(minutes=11)
            assert sender(either_shop, sink, "two").once().sent == 1
            raise DeliveryError("too late", permanent=True)

    sender(either_shop, Slow()).once()
    assert states(either_shop) == {"sent": 1}


def test_a_claim_that_runs_out_gives_back_what_was_not_tried(shop, sink, clock):
    run(shop)

    class Slow(Sink):
        def send(self, message):
            super().send(message)
            clock.move(minutes=9)

    slow = Slow()
    assert sender(shop, slow).once().sent == 1
    assert states(shop) == {"sent": 1, "pending": 1}
    assert [row["attempts"] for row in rows(shop) if row["state"] == "pending"] == [0]


def test_a_server_that_is_down_for_a_day_loses_nothing(shop, sink, clock):
    run(shop)
    sink.failure = DeliveryError("the mail server could not be used", permanent=False)
    begun = clock.now()
    while clock.now() < begun + timedelta(days=1):
        sender(shop, sink).drain()
        clock.move(minutes=5)
    assert states(shop) == {"pending": 2}
    assert all(6 <= row["attempts"] <= 12 for row in rows(shop))
    assert all("could not be used" in row["problem"] for row in rows(shop))
    sink.failure = None
    clock.move(hours=6)
    assert sender(shop, sink).drain().sent == 2
    assert [m.subject for m in sink.sent]


def test_after_five_days_it_is_given_up_shown_and_may_be_tried_again(shop, sink, clock):
    run(shop, only={"ada"})
    sink.failure = DeliveryError("the mail server could not be used", permanent=False)
    for _ in range(60):
        sender(shop, sink).drain()
        clock.move(hours=4)
    (row,) = rows(shop)
    assert (row["state"], row["problem"]) == ("failed", "the mail server could not be used")
    sink.failure = None
    assert sender(shop, sink).drain().handled == 0
    with shop.database.writing() as session:
        retry(shop, session, row["notice_id"])
    assert sender(shop, sink).drain().sent == 1
    assert sink.sent[0].message_id == row["message_id"]


def test_a_permanent_failure_stops_at_once_and_a_bad_address_for_good(shop, sink):
    run(shop)
    sink.failure = DeliveryError("the server refused it (554)", permanent=True)
    assert sender(shop, sink, batch=1).once().failed == 1
    sink.failure = DeliveryError("no such person (550)", permanent=True, bad_address=True)
    assert sender(shop, sink, batch=1).once().failed == 1
    with shop.database.reading() as session:
        assert not is_stopped(session, "ada@mail.example")
        assert is_stopped(session, "BO@mail.example")


def test_a_fault_of_a_channel_neither_ends_the_worker_nor_goes_in_circles(shop, sink, clock):
    run(shop)
    sink.failure = ZeroDivisionError("ada@mail.example")
    assert sender(shop, sink).drain().later == 2
    assert sender(shop, sink).drain().handled == 0
    assert all("ZeroDivisionError" in row["problem"] for row in rows(shop))
    assert not any("ada@" in row["problem"] for row in rows(shop))


def test_what_changed_since_it_was_decided_stops_a_notice(either_shop, sink, clock):
    shop = either_shop
    run(shop)
    with shop.database.writing() as session:
        ended = ConsentWithdrawn(wearer_id="ada", channel="mail")
        assert consents.withdraw(session, ended, clock)
        assert consents.report_bounce(session, BounceGiven(address="Bo@Mail.example"), clock) == 1
    assert sender(shop, sink).drain().sent == 0
    assert sink.sent == []
    assert {row["problem"] for row in rows(shop)} == {
        "the consent was withdrawn",
        "the address takes no notices",
    }
    clock.move(days=400)
    assert run(shop).notices == 0


def test_a_consent_withdrawn_while_a_worker_holds_the_notice_still_counts(shop, sink, clock):
    run(shop, only={"ada"})

    class Killed(BaseException):
        pass

    class Dies(Sink):
        def send(self, message):
            raise Killed

    with pytest.raises(Killed):
        sender(shop, Dies()).once()
    with shop.database.writing() as session:
        consents.withdraw(session, ConsentWithdrawn(wearer_id="ada", channel="mail"), clock)
    clock.move(minutes=11)
    assert sender(shop, sink).once().cancelled == 1
    assert sink.sent == []


def test_a_pair_booked_in_meanwhile_is_named_to_nobody_and_the_others_are_told(shop, sink, clock):
    from solespan.api.schemas.bench.orders import NewOrder
    from solespan.api.services.bench.orders import book

    assert run(shop).notices == 2
    with shop.database.writing() as session:
        book(session, NewOrder(pair_id="ada-0", work="full_sole"), clock)
    done = sender(shop, sink).drain()
    assert (done.sent, done.cancelled) == (1, 1)
    assert [m.customer_id for m in sink.sent] == ["bo"]
    assert run(shop).notices == 1
    assert sender(shop, sink).drain().sent == 1
    assert sink.sent[-1].customer_id == "ada"
    assert [p["pair_id"] for p in sink.sent[-1].pairs] == ["ada-1", "ada-2"]


def test_one_that_may_have_gone_out_is_not_taken_apart(either_shop, sink, clock):
    from solespan.api.schemas.bench.orders import NewOrder
    from solespan.api.services.bench.orders import book

    run(either_shop)
    sink.failure = KeyboardInterrupt()  # the worker dies with the notice in its hands
    with pytest.raises(KeyboardInterrupt):
        sender(either_shop, sink).once()
    sink.failure = None
    with either_shop.database.writing() as session:
        for pair_id in ("ada-0", "bo-0"):
            book(session, NewOrder(pair_id=pair_id, work="full_sole"), clock)
    clock.move(hours=1)
    assert sender(either_shop, sink, "two").drain().cancelled == 0
    assert all(len(m.pairs) == 3 for m in sink.sent)
    assert len(sink.sent) == 2
    assert run(either_shop).notices == 0


def test_nothing_goes_out_in_quiet_hours_and_all_of_it_after(shop, sink, clock, change):
    change(quiet_from="12:30", quiet_to="14:00")
    assert run(shop).notices == 2
    assert sender(shop, sink).drain().sent == 1, "it is noon in UTC and 13:00 in Vienna"
    assert [m.customer_id for m in sink.sent] == ["bo"]
    clock.move(minutes=59)
    assert sender(shop, sink).drain().sent == 0
    clock.move(minutes=1)
    assert sender(shop, sink).drain().sent == 1


def test_a_retry_that_comes_into_quiet_hours_waits_for_their_end(shop, sink, clock, change):
    change(quiet_from="20:00", quiet_to="08:00")
    run(shop)
    sink.failure = DeliveryError("the mail server could not be used", permanent=False)
    sender(shop, sink).drain()
    sink.failure = None
    clock.move(hours=11)  # midnight in Vienna, 23:00 in UTC
    assert sender(shop, sink).drain().sent == 0
    assert {row["attempts"] for row in rows(shop)} == {1}, "waiting is no attempt"
    clock.move(hours=8)  # 08:00 in Vienna
    assert sender(shop, sink).drain().sent == 1
    clock.move(hours=1)
    assert sender(shop, sink).drain().sent == 1
    assert [m.customer_id for m in sink.sent] == ["ada", "bo"]


def test_pairs_with_a_new_sole_by_now_stop_a_notice(shop, sink):
    from datetime import date

    from sqlalchemy import update

    from solespan.api.storage.tables.rack import Sole

    run(shop)
    with shop.database.writing() as session:
        gone = update(Sole).where(Sole.sole_id.like("ada-%"))
        session.execute(gone.values(removed_on=date(2026, 11, 24)))
    assert sender(shop, sink).drain().cancelled == 1
    assert [m.customer_id for m in sink.sent] == ["bo"]


def test_a_clock_set_back_sends_nothing_twice(shop, sink, clock):
    run(shop)
    sender(shop, sink).drain()
    clock.move(days=-2)
    assert run(shop).notices == 0
    assert sender(shop, sink).drain().handled == 0
    clock.move(days=4)
    assert run(shop).notices == 0
    assert len(sink.sent) == 2


def test_second_notices_are_the_last(shop, sink, clock):
    run(shop)
    clock.move(days=45)
    with shop.database.writing() as session:
        _forecast_anew(session, clock)
    assert run(shop).notices == 0, "the first has not gone out yet"
    sender(shop, sink).drain()
    run(shop)
    sender(shop, sink).drain()
    clock.move(days=45)
    with shop.database.writing() as session:
        _forecast_anew(session, clock)
    assert run(shop).notices == 0
    assert sorted(row["sequence"] for row in rows(shop)) == [1, 1, 2, 2]
    second = [m for m in sink.sent if "reminder about" in m.subject]
    assert len(second) == 2
    assert all("our last notice about" in m.text for m in second)


def test_what_was_never_delivered_is_no_first_notice(shop, sink, clock):
    """Nobody is told `we wrote some weeks ago` who was not; what failed is not sent beside it."""
    run(shop, only={"ada"})
    sink.failure = DeliveryError("the server refused it (554)", permanent=True)
    sender(shop, sink).drain()
    sink.failure = None
    assert run(shop, only={"ada"}).notices == 0, "it failed just now: not over and over"
    clock.move(days=45)
    with shop.database.writing() as session:
        _forecast_anew(session, clock)
    assert run(shop, only={"ada"}).notices == 1
    failed = next(row for row in rows(shop) if row["state"] == "failed")
    with shop.database.writing() as session, pytest.raises(Conflict, match="later notice"):
        retry(shop, session, failed["notice_id"])
    sender(shop, sink).drain()
    assert [row["sequence"] for row in rows(shop)] == [1, 1]
    assert "second word" not in sink.sent[0].subject


def test_a_notice_that_was_stopped_leaves_the_customer_free_to_hear_of_other_pairs(
    shop, sink, clock
):
    run(shop, only={"ada"})
    ended = ConsentWithdrawn(wearer_id="ada", channel="mail")
    with shop.database.writing() as session:
        consents.withdraw(session, ended, clock)
    given = ConsentGiven(wearer_id="ada", channel="mail", how="after all", by="Mo")
    with shop.database.writing() as session:
        consents.give(session, given, clock)
    assert run(shop, only={"ada"}).notices == 1
    sender(shop, sink).drain()
    assert [m.customer_id for m in sink.sent] == ["ada"]


def _forecast_anew(session, clock):
    """The dates stay, the forecast is of today; the pair that was far away stays so."""
    import pandas as pd

    from solespan.api.storage.forecasts.forecast_writes import replace_forecasts
    from solespan.api.storage.forecasts.forecasts import load_forecasts

    frame = load_forecasts(session)
    frame["as_of"] = pd.Timestamp(clock.today()).as_unit("s")
    replace_forecasts(session, frame)
