"""Does a test mail go the way that notices go, and does the list of first steps know of it?"""

from __future__ import annotations

import pytest

from solespan.api.errors import Refused
from solespan.api.services.notices.choices import change_rules
from solespan.api.services.operation.settings.checklist import first_run, send_test_mail
from solespan.api.services.operation.settings.sections import patch_group
from tests.api.notices.people import RULES
from tests.api.notices.servers import Mailbox, mail_server

SAVED = {
    "bench": {"hours_by_weekday": [7, 7, 7, 7, 7, 0, 0], "price_minor": {"rewelt": 9000}},
    "shop": {"time_zone": "Europe/Vienna"},
    "notices": {"channels": ["mail"]},
}


def left(services) -> list[str]:
    with services.database.reading() as session:
        return [step["name"] for step in first_run(services, session) if not step["done"]]


def test_the_list_ends_with_a_test_mail_that_comes_from_the_shop(shop_on, own_database):
    mailbox = Mailbox()
    with mail_server(mailbox) as port:
        services = shop_on(own_database(), smtp_port=port)
        assert left(services) == ["hours", "prices", "shop", "rules", "test_mail"]
        for group, patch in SAVED.items():
            patch_group(services.database, group, patch, None)
        assert left(services) == ["test_mail"]
        with services.database.writing() as session:
            own = RULES.model_copy(update={"mail_from": "post@own.example", "channels": ["mail"]})
            change_rules(session, own, None)
        send_test_mail(services, "owner@own.example")
    (mail,) = mailbox.mails
    assert mail["To"] == "owner@own.example"
    assert "post@own.example" in mail["From"]
    assert left(services) == []


def test_a_test_mail_that_cannot_go_says_why_and_stays_on_the_list(shop_on, own_database):
    with mail_server(Mailbox()) as port:
        pass
    services = shop_on(own_database(), smtp_port=port)
    with pytest.raises(Refused, match="no address"):
        send_test_mail(services, "nowhere")
    with pytest.raises(Refused, match="was not taken"):
        send_test_mail(services, "owner@own.example")
    assert "test_mail" in left(services)
