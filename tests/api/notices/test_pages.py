"""Do the shop's pages show who gets what and why, send only when asked, and lose nothing typed?"""

from __future__ import annotations

import re

import pytest

from solespan.api.schemas.bench.orders import NewOrder
from solespan.api.schemas.notices.consents import ConsentGiven, ConsentWithdrawn
from solespan.api.services.bench.orders import book
from solespan.api.services.notices import consents
from solespan.api.services.notices.choices import change_rules, read_rules, read_template
from solespan.api.services.notices.deciding import run
from solespan.api.services.notices.sending import Sender
from solespan.api.services.notices.worker import NoticeWorker
from solespan.api.storage.notices.consents import consents_of, is_stopped, stop_address
from solespan.api.storage.notices.notices import list_notices
from tests.api.notices.people import RULES


def fields_of(page) -> dict[str, str]:
    found = re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', page.text)
    return dict(found)


def post(client, path, form_of="", **fields):
    hidden = fields_of(client.get(form_of or path))
    return client.post(path, data={**hidden, **fields}, follow_redirects=False)


def notices(shop):
    with shop.database.reading() as session:
        return list_notices(session, limit=50)


def test_the_preview_names_who_gets_one_and_who_not_and_why(client):
    page = client.get("/notices").text
    assert "2 customers would get a notice now, about 6 pairs." in page
    assert "comes along with another pair" in page
    assert "no consent: 2" in page
    assert "not due yet: 3" in page
    why = client.get("/notices", params={"why": "no consent"}).text
    assert "Oxford cy-0" in why
    assert "no consent for any channel of this shop" in why


def test_nothing_is_sent_by_looking(client, shop):
    for path in ("/notices", "/notices/send", "/notices/letters", "/notices/customers"):
        assert client.get(path).status_code == 200
    assert notices(shop) == []


def test_sending_asks_first_and_shows_the_words(client, shop):
    page = client.get("/notices/send").text
    assert "Yes, write to 2 customers" in page
    assert "What Ada would get" in page
    assert "Oxford ada-0" in page
    assert "/notices/send?customer=bo#words" in client.get("/notices").text
    of_bo = client.get("/notices/send", params={"customer": "bo"}).text
    assert "What Bo would get, by mail" in of_bo
    assert "Oxford bo-0" in of_bo
    assert "Oxford" not in client.get("/notices/send", params={"customer": "cy"}).text
    assert post(client, "/notices/send").status_code == 422
    assert post(client, "/notices/send", sure="true", customers="3").status_code == 422
    assert notices(shop) == []
    assert post(client, "/notices/send", sure="true").status_code == 303
    assert len(notices(shop)) == 2
    assert "2026-11-25 12:00" in client.get("/notices").text


def test_a_shop_that_lacks_something_is_told_and_cannot_send(client, shop, change):
    change(shop_name="", channels=["webhook"])
    page = client.get("/notices").text
    assert "Give the shop&#39;s name in the rules" in page
    assert "webhook" in page
    assert "/notices/send" not in page
    change(shop_contact=" ")
    assert "how the shop is reached" in client.get("/notices").text
    change(channels=["webhook"], webhook_url="http://127.0.0.1:9/")
    assert "lies inside this network" in client.get("/notices").text
    assert post(client, "/notices/send", sure="true", customers="0").status_code == 422


@pytest.mark.parametrize(
    "path",
    ["/notices/send", "/settings/notices", "/notices/wording", "/notices/customers"],
)
def test_a_form_without_this_browsers_token_changes_nothing(client, shop, path):
    hidden = fields_of(client.get(path))
    hidden["form_token"] = "x" * 32
    with shop.database.reading() as session:
        before = (read_rules(session), read_template(session), consents_of(session, None, 9))
    data = {**hidden, "sure": "true", "wearer": "cy", "channel": "mail", "do": "give"}
    assert client.post(path, data=data, follow_redirects=False).status_code == 422
    with shop.database.reading() as session:
        after = (read_rules(session), read_template(session), consents_of(session, None, 9))
    assert before == after
    assert notices(shop) == []


def rules_form(**more):
    plain = {
        "bands_watch": "true",
        "channels_mail": "true",
        "chance_days": "180",
        "chance_at_least": "12,5",
        "weeks_ahead": "3",
        "ahead_of": "send_by",
        "gather_weeks": "2",
        "weeks_between": "8",
        "second_after_weeks": "0",
        "quiet_from": "19:30",
        "quiet_to": "07:00",
        "link_days": "30",
    }
    return plain | more


def test_rules_are_kept_as_typed(client, shop):
    lines = {"shop_name": "Hide & Welt", "shop_contact": "12 Last Lane\r\nUpper Town"}
    assert post(client, "/settings/sender", **lines).status_code == 303
    assert post(client, "/settings/notices", **rules_form()).status_code == 303
    with shop.database.reading() as session:
        rules, version = read_rules(session)
    assert version == 3
    assert (rules.bands, rules.channels) == (["watch"], ["mail"])
    assert (rules.chance_at_least, rules.chance_days) == (0.125, 180)
    assert (rules.automatic, rules.levelled) == (False, False)
    assert (rules.quiet_from, rules.weeks_between) == ("19:30", 8)
    assert rules.shop_contact == "12 Last Lane\nUpper Town"
    assert 'value="12.5"' in client.get("/settings/notices").text


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("weeks_ahead", "53", "a whole number from 0 to 52"),
        ("weeks_ahead", "soon", "a whole number from 0 to 52"),
        ("weeks_between", "0", "a whole number from 1 to 104"),
        ("chance_at_least", "120", "a number over 0 and up to 100"),
        ("quiet_from", "25:00", "a time as HH:MM"),
        ("webhook_url", "javascript:x", "address that begins with https"),
        ("channels_mail", "", "choose one at least"),
    ],
)
def test_a_rule_that_cannot_be_is_told_beside_its_field_and_the_rest_stays(
    client, shop, field, value, said
):
    answer = post(client, "/settings/notices", **rules_form(**{field: value}))
    assert answer.status_code == 422
    assert said in answer.text
    assert field == "weeks_ahead" or 'value="3"' in answer.text
    with shop.database.reading() as session:
        assert read_rules(session)[0] == RULES


def test_rules_that_someone_else_changed_are_not_overwritten(client, shop, change):
    hidden = fields_of(client.get("/settings/notices"))
    changed = change(weeks_between=10)
    typed = {**hidden, **rules_form()}
    answer = client.post("/settings/notices", data=typed, follow_redirects=False)
    assert answer.status_code == 409
    assert "is now 10. You typed 8" in answer.text
    with shop.database.reading() as session:
        assert read_rules(session)[0] == changed


def test_a_wording_with_an_error_is_refused_with_its_line_and_kept_on_the_page(client, shop):
    parts = {"subject": "S", "text": "a\n{{ unsubscribe_link }}\n{{ oops }}", "html": "<p>x</p>"}
    answer = post(client, "/notices/wording", **parts)
    assert answer.status_code == 422
    assert "&#39;oops&#39; is undefined. (text, line 3)" in answer.text
    assert "{{ oops }}" in answer.text
    with shop.database.reading() as session:
        assert read_template(session)[1] == 0


def test_a_wording_is_kept_and_used(client, shop):
    parts = {
        "subject": "Shoes of {{ customer.name }}",
        "text": "Come in\r\n{{ unsubscribe_link }}",
        "html": "<p>Come in, {{ customer.name }} {{ unsubscribe_link }}</p>",
    }
    assert post(client, "/notices/wording", **parts).status_code == 303
    assert "Shoes of Ada" in client.get("/notices/send").text
    with shop.database.reading() as session:
        assert read_template(session)[0].text == "Come in\n{{ unsubscribe_link }}"


def test_a_wording_that_fails_for_one_customer_sends_to_nobody(client, shop):
    """Fine for the invented customers, impossible for a real one: nobody is half written to."""
    source = "{{ unsubscribe_link }}{% if customer.name == 'Bo' %}{{ customer.nothing }}{% endif %}"
    assert (
        post(client, "/notices/wording", subject="S", text=source, html=source).status_code == 303
    )
    answer = post(client, "/notices/send", sure="true")
    assert answer.status_code == 422
    assert "nothing" in answer.text
    assert notices(shop) == []
    automatic = RULES.model_copy(update={"automatic": True})
    with shop.database.writing() as session:
        change_rules(session, automatic, None)
    NoticeWorker(shop).once()
    assert "the wording (text, line 1) cannot be filled in" in client.get("/notices").text


def test_a_wording_that_fails_for_the_customer_shown_first_is_said_and_not_a_failure(client, shop):
    of_ada = "{% if pairs[0].label == 'Oxford ada-0' %}{{ pairs[0].no }}{% endif %}"
    source = "{{ unsubscribe_link }}" + of_ada
    kept = post(client, "/notices/wording", subject="S", text=source, html=source)
    assert kept.status_code == 303
    for answer in (client.get("/notices/send"), post(client, "/notices/send", sure="true")):
        assert answer.status_code == 422
        assert "template cannot be used" in answer.text


def test_consents_are_given_withdrawn_and_stopped_addresses_lifted(client, shop):
    path = "/notices/customers"
    given = {"wearer": "cy", "do": "give", "channel": "mail", "how": "at the counter", "by": "Mo"}
    assert post(client, path, **given).status_code == 303
    assert "since 25 Nov 2026, at the counter" in client.get(path).text
    assert post(client, path, wearer="cy", do="withdraw", channel="mail").status_code == 303
    earlier = given | {"channel": "print", "on": "2026-03-01"}  # from a card in the drawer
    assert post(client, path, **earlier | {"on": "1 March"}).status_code == 422
    assert post(client, path, **earlier | {"on": "2027-03-01"}).status_code == 422
    assert post(client, path, **earlier).status_code == 303
    assert "since 1 Mar 2026, at the counter" in client.get(path).text
    with shop.database.writing() as session:
        assert consents_of(session, "cy", 9)[1]["withdrawn_how"] == "told the shop"
        stop_address(session, "cy@mail.example", "it bounced", shop.clock.now())
    assert "This address takes no mail: it bounced" in client.get(path).text
    assert post(client, path, wearer="cy", do="lift").status_code == 303
    with shop.database.reading() as session:
        assert not is_stopped(session, "cy@mail.example")
    assert post(client, path, wearer="cy", do="bounced").status_code == 303
    with shop.database.reading() as session:
        assert is_stopped(session, "cy@mail.example"), "as a letter in the shop's mailbox said"
    assert post(client, path, wearer="nobody", do="bounced").status_code == 422
    unsaid = post(client, path, **given | {"how": ""})
    assert unsaid.status_code == 422
    assert "Say how the consent was given" in unsaid.text
    assert post(client, path, **given | {"wearer": "nobody"}).status_code == 422


def test_letters_are_printed_one_a_page_and_leave_the_list(client, shop, clock):
    given = {"wearer": "cy", "do": "give", "channel": "print", "how": "by phone", "by": "Mo"}
    post(client, "/notices/customers", **given)
    run(shop, only={"cy"})
    assert "No letter waits" in client.get("/notices/letters").text
    Sender(shop, worker="one", chance=lambda: 0.5).drain()
    page = client.get("/notices/letters")
    assert page.text.count('<article class="letter"') == 1
    assert "Oxford cy-0" in page.text
    assert page.text.count("<svg") == 7, "two codes a pair and one to stop these notices"
    assert "/answers/" not in page.text, "nobody types such an address"
    assert post(client, "/notices/letters").status_code == 303
    assert "No letter waits" in client.get("/notices/letters").text


def test_a_letter_shows_where_it_is_posted_to(client, shop):
    path = "/notices/customers"
    given = {"wearer": "cy", "do": "give", "channel": "print", "how": "by phone", "by": "Mo"}
    post(client, path, **given, address="1 Welt Row\r\n<b>Upper Town</b>")
    assert "1 Welt Row, &lt;b&gt;Upper Town&lt;/b&gt;" in client.get(path).text
    run(shop, only={"cy"})
    Sender(shop, worker="one", chance=lambda: 0.5).drain()
    page = client.get("/notices/letters").text
    assert "Cy<br>1 Welt Row<br>&lt;b&gt;Upper Town&lt;/b&gt;</p>" in page
    post(client, path, **given, address="2 Welt Row")  # they moved
    assert "Cy<br>2 Welt Row</p>" in client.get("/notices/letters").text
    assert post(client, path, **given, address="").status_code == 303
    with shop.database.reading() as session:
        (consent,) = consents_of(session, "cy", 9)
    assert consent["address"] == "2 Welt Row", "left empty, it stays"


def test_a_letter_nobody_wants_any_more_is_not_printed(client, shop, clock):
    """Withdrawn, or booked in, between the list and the printer."""
    with shop.database.writing() as session:
        for wearer_id in ("ada", "bo", "cy"):
            mail = {"wearer_id": wearer_id, "channel": "mail"}
            consents.withdraw(session, ConsentWithdrawn(**mail), clock)
            consent = {"wearer_id": wearer_id, "channel": "print", "how": "phone", "by": "Mo"}
            consents.give(session, ConsentGiven(**consent), clock)
    run(shop)
    Sender(shop, worker="one", chance=lambda: 0.5).drain()
    assert client.get("/notices/letters").text.count('class="letter"') == 3
    assert client.get("/notices").text.count("on the list of letters since") == 3
    with shop.database.writing() as session:
        consents.withdraw(session, ConsentWithdrawn(wearer_id="bo", channel="print"), clock)
        for i in range(3):
            book(session, NewOrder(pair_id=f"cy-{i}", work="full_sole"), clock)
    page = client.get("/notices/letters")
    assert page.text.count('class="letter"') == 1
    assert "Oxford ada-0" in page.text
    last = re.search(r'name="up_to" value="(\d+)"', page.text)[1]
    post(client, "/notices/letters", up_to=str(int(last) + 100))
    with shop.database.reading() as session:
        states = {row["wearer_id"]: row["state"] for row in list_notices(session, limit=9)}
    assert states == {"ada": "sent", "bo": "cancelled", "cy": "cancelled"}
    assert "printed 2026" in client.get("/notices").text


def test_a_notice_that_failed_is_shown_and_can_be_tried_again(client, shop, change):
    change(channels=["mail"])
    run(shop, only={"ada"})

    class Refuses:
        needs_address, missing = True, ""

        def send(self, _message):
            from solespan.api.channels.message import DeliveryError

            raise DeliveryError("the server refused it (554)", permanent=True)

        def close(self):
            pass

    Sender(shop, worker="one", chance=lambda: 0.5, channels={"mail": Refuses()}).drain()
    page = client.get("/notices").text
    assert "Not delivered" in page
    assert "the server refused it (554)" in page
    (row,) = notices(shop)
    path = f"/notices/{row['notice_id']}"
    assert "Try again" in client.get(path).text
    assert post(client, f"{path}/retry", form_of=path).status_code == 303
    assert notices(shop)[0]["state"] == "pending"
    again = post(client, f"{path}/retry", form_of="/notices/send")
    assert again.status_code == 409
    assert client.get("/notices/nothing").status_code == 404
