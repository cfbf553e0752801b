"""Does the worker decide and send by itself where a shop wants it, for every shop apart?"""

from __future__ import annotations

import threading
import time

import pytest
from sqlalchemy import insert

from solespan.api.channels.message import DeliveryError
from solespan.api.schemas.notices.consents import ConsentGiven
from solespan.api.services.notices import consents, sending
from solespan.api.services.notices import worker as worker_module
from solespan.api.services.notices.answering import answer, for_tenant, open_link
from solespan.api.services.notices.choices import change_rules, change_template, read_template
from solespan.api.services.notices.deciding import run
from solespan.api.services.notices.fair_pool import FairPool
from solespan.api.services.notices.template_failure import stuck_words
from solespan.api.services.notices.worker import NoticeWorker
from solespan.api.services.periodic_loop import end_loops
from solespan.api.storage.audit import list_audit
from solespan.api.storage.bench.orders import list_orders
from solespan.api.storage.notices.notices import find_notice, list_notices
from solespan.api.storage.tables.accounts import Tenant
from tests.api.notices.people import RULES, add_customers, link_in
from tests.api.notices.servers import Mailbox, mail_server


@pytest.fixture
def mailbox():
    return Mailbox()


@pytest.fixture
def mailing(shop_on, new_address, mailbox):
    """The shop, with a mail server that takes what it sends."""
    with mail_server(mailbox) as port:
        yield shop_on(new_address, smtp_port=port)


def automatic(shop, **more):
    with shop.database.writing() as session:
        change_rules(session, RULES.model_copy(update={"automatic": True, **more}), None)


def notices(shop):
    with shop.database.reading() as session:
        return list_notices(session, limit=50)


def test_without_being_told_the_worker_decides_nothing(mailing, mailbox):
    assert NoticeWorker(mailing).once().handled == 0
    assert mailbox.taken == []
    run(mailing)
    assert NoticeWorker(mailing).once().sent == 2, "what somebody decided it does send"


def test_a_shop_that_wants_it_is_decided_for_once_an_hour(mailing, mailbox, clock):
    automatic(mailing)
    worker = NoticeWorker(mailing)
    assert worker.once().sent == 2
    with mailing.database.writing() as session:
        given = ConsentGiven(wearer_id="cy", channel="mail", how="paper", by="Mo")
        consents.give(session, given, clock)
    assert worker.once().sent == 0
    clock.move(hours=1)
    assert worker.once().sent == 1
    assert len({m["Message-ID"] for m in mailbox.mails}) == 3


def test_of_two_workers_one_decides_and_the_other_waits_an_hour(mailing, monkeypatch, clock):
    automatic(mailing)
    decided = []

    def note(shop):
        decided.append(shop)
        return run(shop)

    monkeypatch.setattr("solespan.api.services.notices.worker.run", note)
    workers = [NoticeWorker(mailing) for _ in range(2)]
    for count in (1, 2):
        for worker in workers:
            worker.once(decide_anyway=False)
        assert len(decided) == count
        clock.move(hours=1)


def test_a_long_round_gives_way_to_the_shops_mail_and_goes_on_afterwards(
    mailing, mailbox, monkeypatch
):
    run(mailing)
    mails_at_step = []

    def slow_round(shop, stop, _chance):
        while len(mails_at_step) < 4 and not stop():
            mails_at_step.append(len(mailbox.taken))
        return len(mails_at_step)

    monkeypatch.setattr(worker_module, "ROUNDS", ((lambda _session: None, slow_round),))
    monkeypatch.setattr(worker_module, "ROUND_S", -1.0)  # so each round is over after one step
    assert NoticeWorker(mailing).once().sent == 2
    assert mails_at_step == [0, 2, 2, 2]


def test_what_is_missing_keeps_one_shop_quiet_and_is_no_failure(mailing, mailbox):
    automatic(mailing, shop_name="")
    assert NoticeWorker(mailing).once().handled == 0


def test_a_wording_that_fails_the_worker_is_shown_until_it_is_mended(mailing, mailbox, clock):
    """It passed for the invented customers, so nobody was told when it was saved."""
    automatic(mailing)
    fails = "{% if customer.name == 'Bo' %}{{ customer.nothing }}{% endif %}{{ unsubscribe_link }}"
    change_wording(mailing, fails)
    worker = NoticeWorker(mailing)
    assert worker.once().handled == 0
    told = shown(mailing)
    assert "the wording (text, line 1) cannot be filled in" in told
    assert "Bo" not in told
    clock.move(hours=1)
    worker.once()
    assert shown(mailing) == told, "it stays as long as it fails"
    with mailing.database.writing() as session:
        change_rules(session, RULES, None)
    assert shown(mailing) is None, "nobody expects notices to go out by themselves"
    automatic(mailing)
    change_wording(mailing, "{{ unsubscribe_link }}")
    assert shown(mailing) is None, "the wording is another"
    clock.move(hours=1)
    assert worker.once().sent == 2
    change_wording(mailing, fails)
    assert shown(mailing) is None


def change_wording(shop, text):
    with shop.database.reading() as session:
        wording = read_template(session)[0].model_copy(update={"text": text})
    change_template(shop.database, wording, None)


def shown(shop):
    with shop.database.reading() as session:
        return stuck_words(session)


def test_the_thread_sends_and_stops(mailing, mailbox, clock):
    run(mailing)
    worker = NoticeWorker(mailing)
    worker.start()
    worker.start()
    until = time.monotonic() + 120  # ends a test that hangs
    while len(mailbox.taken) < 2 and time.monotonic() < until:
        time.sleep(0.02)
    worker.stop()
    assert len(mailbox.taken) == 2
    assert {row["state"] for row in notices(mailing)} == {"sent"}


@pytest.fixture
def second(mailing, clock):
    """Another shop in the same database, whose customers have the same ids."""
    with mailing.database.writing() as session:
        session.execute(insert(Tenant).values(tenant_id="two", name="Two", kind="shop"))
    own = mailing.database.tenant_pk
    other = next(shop for shop in mailing.each_tenant() if shop.database.tenant_pk != own)
    add_customers(other.database)
    with other.database.writing() as session:
        change_rules(session, RULES.model_copy(update={"shop_name": "Second"}), None)
        given = ConsentGiven(wearer_id="ada", channel="mail", how="paper", by="Jo")
        consents.give(session, given, clock)
    return other


def test_shops_are_kept_apart_and_each_is_served(mailing, second, mailbox):
    assert run(second).notices == 1
    assert notices(mailing) == []
    run(mailing)
    assert NoticeWorker(mailing).once().sent == 3
    assert sorted(m["From"].addresses[0].display_name for m in mailbox.mails) == [
        "Hide & Welt",
        "Hide & Welt",
        "Second",
    ]
    assert len(notices(second)) == 1


def test_a_link_leads_to_its_own_shop_and_to_no_other(mailing, second):
    run(second)
    (row,) = notices(second)
    with second.database.reading() as session:
        text = find_notice(session, row["notice_id"])["payload"]["text"]
    token = link_in(text, "book").rsplit("/", 1)[1]
    asked = open_link(mailing, token)
    assert asked.ctx.database.tenant_pk == second.database.tenant_pk
    answer(asked, {"way": "bring", "day": "2026-12-03"})

    def orders(shop):
        with shop.database.reading() as session:
            return list_orders(session, stage=None, pair_id=None, below_id=None, limit=9)

    assert [order["pair_id"] for order in orders(second)] == ["ada-0"]
    assert orders(mailing) == []
    with second.database.reading() as session:
        (noted,) = list_audit(session, after=None, limit=9)
    assert (noted["actor"], noted["action"]) == ("a customer", "answered a notice")
    assert for_tenant(mailing, 999) is None


class HangingHook:
    """A channel of a hostile shop: its server answers when the test lets it."""

    needs_address, missing = False, ""

    def __init__(self):
        self.asked, self.let_go = threading.Event(), threading.Event()

    def send(self, _message):
        self.asked.set()
        self.let_go.wait()
        raise DeliveryError("the webhook did not answer in time", permanent=False)

    def close(self):
        pass


def test_while_one_shops_server_hangs_the_others_notices_go_out(
    mailing, second, mailbox, monkeypatch
):
    """Two threads serve the shops, and the hostile one has every notice of its own due."""
    hook, real = HangingHook(), sending.channels_of
    own = second.database.tenant_pk
    hostile = lambda ctx: ctx.database.tenant_pk == own  # noqa: E731
    monkeypatch.setattr(
        sending,
        "channels_of",
        lambda ctx, rules: {"mail": hook} if hostile(ctx) else real(ctx, rules),
    )
    run(second)
    run(mailing)
    worker = NoticeWorker(mailing, threads=2)
    worker.start()
    assert hook.asked.wait(120)
    until = time.monotonic() + 120  # ends a test that hangs
    while len(mailbox.taken) < 2 and time.monotonic() < until:
        time.sleep(0.02)
    assert len(mailbox.taken) == 2, "the hostile shop is still being sent for"
    assert not hook.let_go.is_set()
    hook.let_go.set()
    worker.stop()
    (kept,) = notices(second)
    assert kept["state"] == "pending"


def test_a_worker_that_is_asked_to_stop_waits_for_no_server(mailing, monkeypatch):
    hook = HangingHook()
    monkeypatch.setattr(sending, "channels_of", lambda *_: {"mail": hook})
    run(mailing)
    worker = NoticeWorker(mailing)
    worker.start()
    assert hook.asked.wait(120)
    end_loops(worker, within_s=0.05)
    assert not hook.let_go.is_set()
    hook.let_go.set()
    worker.stop(120)


def test_a_fair_pool_serves_each_key_in_turn_and_none_twice_at_once():
    order, left = [], {1: 3, 2: 2, 3: 1}

    def work(key):
        order.append(key)
        left[key] -= 1
        if key == 2:
            raise ValueError
        return left[key] > 0

    started = threading.Event()
    first = FairPool(lambda key: started.wait() and work(key), threads=1)
    for key in (1, 2, 3, 1, 2):
        first.offer(key)
    started.set()
    first.wait_until_idle()
    assert order == [1, 2, 3, 1, 1]
    first.end()
    first.offer(1)
    assert first.join(120)
    assert len(order) == 5
