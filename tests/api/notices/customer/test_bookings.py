"""Is a customer told of a booked day by mail and calendar, and can move or cancel it by a link?"""

from __future__ import annotations

import re
from datetime import UTC, date, datetime
from email import message_from_bytes, policy

import pytest
from icalendar import Calendar

from solespan.api.schemas.bench.orders import Move, NewOrder
from solespan.api.schemas.shop import ShopChoices
from solespan.api.services.bench import orders
from solespan.api.services.bench.found_orders import describe
from solespan.api.services.notices.booking_delivery import next_round, send_booking_mails
from solespan.api.services.notices.worker import NoticeWorker
from solespan.api.services.rack.history import current_revision_id, undo
from solespan.api.services.rack.records import delete as delete_record
from solespan.api.services.shop_choices import change_shop_choices
from solespan.api.storage.bench.booking_messages import messages_of
from solespan.api.storage.notices.consents import stop_address
from tests.api.notices.conftest import NOW
from tests.api.notices.servers import Mailbox, mail_server

WEDNESDAY = date(2026, 12, 9)


@pytest.fixture
def mailbox():
    return Mailbox()


@pytest.fixture
def shop(shop_on, new_address, mailbox):
    with mail_server(mailbox) as port:
        yield shop_on(new_address, smtp_port=port)


@pytest.fixture
def order_id(shop):
    return book(shop)


def book(shop, day=WEDNESDAY, **more):
    given = NewOrder(pair_id="ada-0", work="full_sole", expected_on=day, **more)
    with shop.database.writing() as session:
        return orders.book(session, given, shop.clock)["order_id"]


def change(shop, order_id, **values):
    with shop.database.writing() as session:
        orders.amend(session, order_id, values, None, shop.clock)


def states(shop, order_id):
    with shop.database.reading() as session:
        told = messages_of(session, order_id)
    return [(one["kind"], one["sequence"], one["state"]) for one in told]


def calendar_in(mail):
    (part,) = [p for p in mail.walk() if p.get_content_type() == "text/calendar"]
    calendar = Calendar.from_ical(part.get_content())
    assert part.get_param("method") == str(calendar["method"]), "RFC 6047, 2.4"
    (event,) = calendar.walk("VEVENT")
    return str(calendar["method"]), event


def link_of(mail):
    text = mail.get_body(("plain",)).get_content()
    return re.search(r"https://shop\.example(/bookings/\S+)", text)[1]


def test_request_move_and_cancel_are_one_calendar_entry_with_rising_sequence(
    shop, mailbox, order_id
):
    assert send_booking_mails(shop) == 1
    change(shop, order_id, expected_on=date(2026, 12, 10))
    assert send_booking_mails(shop) == 1
    with shop.database.writing() as session:
        move = Move(to="cancelled", version=describe(session, order_id)["version"])
        orders.step(session, order_id, move, shop.clock)
    assert send_booking_mails(shop) == 1
    told = [calendar_in(mail) for mail in mailbox.mails]
    assert [method for method, _ in told] == ["REQUEST", "REQUEST", "CANCEL"]
    events = [event for _, event in told]
    assert [event["sequence"] for event in events] == [0, 1, 2]
    assert len({str(event["uid"]) for event in events}) == 1
    days = [event["dtstart"].dt for event in events]
    assert days == [WEDNESDAY, date(2026, 12, 10), date(2026, 12, 10)]
    assert [str(event["status"]) for event in events] == ["CONFIRMED", "CONFIRMED", "CANCELLED"]
    for event in events:
        assert str(event["organizer"]) == "mailto:bench@shop.example"
        assert str(event["attendee"]) == "mailto:ada@mail.example"
    first = message_from_bytes(mailbox.taken[0], policy=policy.default)
    assert first["List-Unsubscribe"] is None, "the customer asked for it"
    assert "Wednesday 9 December 2026" in first.get_body(("plain",)).get_content()
    with shop.database.reading() as session:
        assert next_round(session) is None


def delete(shop, order_id):
    """Delete an order; return the revision to take it back."""
    with shop.database.writing() as session:
        orders.remove(session, order_id, None, shop.clock)
        return current_revision_id()


def test_a_deleted_booking_leaves_the_customers_calendar_and_a_restored_one_comes_back(
    shop, mailbox, order_id
):
    send_booking_mails(shop)
    deletion = delete(shop, order_id)
    assert send_booking_mails(shop) == 1
    assert send_booking_mails(shop) == 0
    with shop.database.writing() as session:
        undo(shop, session, deletion)
    assert send_booking_mails(shop) == 1
    assert send_booking_mails(shop) == 0
    told = [calendar_in(mail) for mail in mailbox.mails]
    assert [method for method, _ in told] == ["REQUEST", "CANCEL", "REQUEST"]
    assert [event["sequence"] for _, event in told] == [0, 1, 2]
    assert len({str(event["uid"]) for _, event in told}) == 1
    assert str(told[1][1]["status"]) == "CANCELLED"
    assert {event["dtstart"].dt for _, event in told} == {WEDNESDAY}
    assert "Wednesday 9 December" in mailbox.mails[1].get_body(("plain",)).get_content()


def test_a_booking_deleted_with_its_pair_or_by_undoing_it_is_cancelled_too(shop, mailbox):
    with shop.database.writing() as session:
        given = NewOrder(pair_id="ada-0", work="full_sole", expected_on=WEDNESDAY)
        orders.book(session, given, shop.clock)
        booking = current_revision_id()
    send_booking_mails(shop)
    with shop.database.writing() as session:
        undo(shop, session, booking)
    assert send_booking_mails(shop) == 1
    book(shop)
    send_booking_mails(shop)
    with shop.database.writing() as session:
        key = {"pair_id": "ada-0"}
        delete_record(session, "pairs", key, versions=None, with_all_below=True)
    assert send_booking_mails(shop) == 1
    methods = [calendar_in(mail)[0] for mail in mailbox.mails]
    assert methods == ["REQUEST", "CANCEL", "REQUEST", "CANCEL"]


def test_an_undone_move_is_told_with_a_higher_sequence(shop, mailbox, order_id):
    send_booking_mails(shop)
    with shop.database.writing() as session:
        orders.amend(session, order_id, {"expected_on": date(2026, 12, 10)}, None, shop.clock)
        move = current_revision_id()
    send_booking_mails(shop)
    with shop.database.writing() as session:
        undo(shop, session, move)
    assert send_booking_mails(shop) == 1
    events = [calendar_in(mail)[1] for mail in mailbox.mails]
    assert [event["sequence"] for event in events] == [0, 1, 2]
    assert events[-1]["dtstart"].dt == WEDNESDAY


def test_a_deleted_booking_that_nobody_was_told_of_is_not_cancelled(shop, mailbox, order_id, clock):
    delete(shop, order_id)
    assert send_booking_mails(shop) == 0
    late = book(shop)
    send_booking_mails(shop)
    clock.move(days=30)
    delete(shop, late)
    assert send_booking_mails(shop) == 0
    assert [calendar_in(mail)[0] for mail in mailbox.mails] == ["REQUEST"]


def test_who_stopped_all_mails_gets_no_cancellation(shop, mailbox, order_id):
    send_booking_mails(shop)
    with shop.database.writing() as session:
        stop_address(session, "ada@mail.example", "asked to", shop.clock.now())
    delete(shop, order_id)
    assert send_booking_mails(shop) == 0
    assert len(mailbox.mails) == 1


def test_the_reminder_goes_out_on_the_morning_before_in_the_shops_time_zone(shop, mailbox, clock):
    with shop.database.writing() as session:
        change_shop_choices(session, ShopChoices(time_zone="America/New_York"), None)
    order_id = book(shop)
    worker = NoticeWorker(shop)
    worker.once()
    assert len(mailbox.taken) == 1
    due = datetime(2026, 12, 8, 14, tzinfo=UTC)  # nine in the morning in New York
    with shop.database.reading() as session:
        assert next_round(session) == due
    clock.move(seconds=(due - NOW).total_seconds() - 1)
    worker.once()
    assert len(mailbox.taken) == 1
    clock.move(seconds=1)
    worker.once()
    assert (
        "tomorrow. Work: Full sole. Please bring it on Wednesday 9 December"
        in mailbox.mails[1].get_body(("plain",)).get_content()
    )
    assert states(shop, order_id) == [("request", 0, "sent"), ("reminder", 0, "sent")]


def test_a_day_that_changes_before_it_was_told_is_told_once(shop, mailbox, order_id):
    change(shop, order_id, expected_on=date(2026, 12, 10))
    assert send_booking_mails(shop) == 1
    (mail,) = mailbox.mails
    assert calendar_in(mail)[1]["dtstart"].dt == date(2026, 12, 10)
    change(shop, order_id, note="red laces")
    assert send_booking_mails(shop) == 0


def test_nobody_without_an_address_or_a_day_is_written_to(shop, mailbox):
    with shop.database.writing() as session:
        given = NewOrder(pair_id="bo-0", work="full_sole")
        without = orders.book(session, given, shop.clock)["order_id"]
    assert states(shop, without) == []
    assert send_booking_mails(shop) == 0
    assert mailbox.taken == []


def test_without_a_mail_server_it_waits_and_is_tried_again(shop_on, new_address):
    shop = shop_on(new_address, smtp_port=1)
    order_id = book(shop)
    assert send_booking_mails(shop) == 0
    assert states(shop, order_id)[0] == ("request", 0, "pending")


@pytest.fixture
def path(shop, mailbox, order_id):
    send_booking_mails(shop)
    return link_of(mailbox.mails[0])


def sent(client, path, **typed):
    token = re.search(r'name="form_token" value="([^"]+)"', client.get(path).text)[1]
    return client.post(path, data={"form_token": token, **typed})


def order_now(shop, order_id):
    with shop.database.reading() as session:
        return describe(session, order_id)


def test_a_customer_moves_the_day_to_a_free_one_only(client, shop, path, order_id):
    page = client.get(path)
    assert "Please bring it on Wednesday 9 December 2026" in page.text
    assert "<nav" not in page.text
    assert "2026-12-12" not in page.text, "a Saturday"
    assert "No opening hours are set" in page.text
    refused = sent(client, path, act="move", day="2026-12-12")
    assert refused.status_code == 422
    assert "Sat 12 Dec 2026 is not free" in refused.text
    assert "The day is moved" in sent(client, path, act="move", day="2026-12-11").text
    order = order_now(shop, order_id)
    assert order["expected_on"] == date(2026, 12, 11)
    assert order["events"][-1]["details"]["moved"]["expected_on"] == ["2026-12-09", "2026-12-11"]


def test_a_customer_cancels_once_and_the_link_says_so(client, shop, path, order_id):
    assert "The booking is cancelled" in sent(client, path, act="cancel").text
    assert order_now(shop, order_id)["stage"] == "cancelled"
    page = client.get(path).text
    assert "This booking is cancelled" in page
    assert "<form" not in page


def test_a_form_of_another_site_changes_nothing(client, shop, path, order_id):
    for act in ("move", "cancel"):
        answer = client.post(path, data={"act": act, "day": "2026-12-11", "form_token": "x"})
        assert answer.status_code == 422
    assert order_now(shop, order_id)["version"] == 1


def test_a_pair_that_is_here_cannot_be_cancelled_by_the_link(client, shop, path, order_id):
    with shop.database.writing() as session:
        orders.step(session, order_id, Move(to="received", version=1), shop.clock)
    page = client.get(path).text
    assert "This pair is with us" in page
    assert "<form" not in page


def test_a_link_of_another_shop_or_a_made_up_one_opens_nothing(client, path):
    assert client.get(path[:-4] + "AAAA").status_code == 404
    assert client.get(path.replace("/bookings/", "/answers/")).status_code == 404
