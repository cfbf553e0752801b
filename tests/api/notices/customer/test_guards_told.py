"""Is a guard that is due told as a guard, booked as one, and a top piece told beside it?"""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
import sqlalchemy as sa

from solespan.api.services.notices.deciding import run
from solespan.api.storage.bench.orders import list_orders
from solespan.api.storage.notices.notices import find_notice, list_notices
from solespan.api.storage.rack.records import list_records
from solespan.api.storage.tables.rack import Sole
from solespan.api.storage.tables.results import ForecastRow
from solespan.api.wiring import build_services
from tests.api.notices.conftest import settings_of
from tests.api.notices.people import link_in

ADAS = Sole.sole_id.like("ada-%")


@pytest.fixture
def shop(filled, own_database, clock):
    """The shop before anybody is written to, in a copy that this test may change."""
    services = build_services(settings_of(own_database(filled)), clock)
    yield services
    services.database.close()


def told(shop) -> dict:
    run(shop, only={"ada"})
    with shop.database.reading() as session:
        (row,) = list_notices(session, limit=5)
        return find_notice(session, row["notice_id"])["payload"]


def guarded(shop) -> None:
    with shop.database.writing() as session:
        values = {"material": "rubber", "nominal_thickness_mm": 1.8, "cover": "guard"}
        session.execute(sa.update(Sole).where(ADAS).values(limit_mm=None, **values))


def test_a_guard_that_is_due_is_no_new_sole(client, shop):
    guarded(shop)
    notice = told(shop)
    assert "A new guard over the sole is due" in notice["text"]
    assert "a new sole" not in notice["text"].lower() + notice["subject"].lower()
    path = link_in(notice["text"], "book")
    page = client.get(path).text
    assert "A new guard over the sole is due" in page
    token = re.search(r'name="form_token" value="([^"]+)"', page)[1]
    client.post(path, data={"form_token": token, "way": "bring", "day": "2026-12-03"})
    with shop.database.reading() as session:
        (order,) = list_orders(session, stage=None, pair_id=None, below_id=None, limit=9)
    assert order["work"] == "guard"


def test_a_guard_renewed_elsewhere_is_a_guard_again(client, shop):
    guarded(shop)
    path = link_in(told(shop)["text"], "elsewhere")
    page = client.get(path).text
    assert "It has a new guard over the sole" in page
    token = re.search(r'name="form_token" value="([^"]+)"', page)[1]
    client.post(path, data={"form_token": token, "day": "2026-11-20"})
    with shop.database.reading() as session:
        soles = list_records(session, "soles", equal={"assumed": True}, limit=9)
    assert [(s["cover"], s["nominal_thickness_mm"]) for s in soles] == [("guard", 1.8)]


def test_a_top_piece_due_before_the_sole_is_told_beside_it(shop):
    table: sa.Table = ForecastRow.__table__
    with shop.database.writing() as session:
        for row in session.execute(sa.select(table).where(table.c.point == "ball")).mappings():
            values = {name: value for name, value in row.items() if name != "id"}
            early = {
                name: value - timedelta(days=20)
                for name, value in values.items()
                if name.startswith("due_") and value is not None
            }
            session.execute(sa.insert(table).values(values | early | {"point": "heel"}))
    notice = told(shop)
    assert "A new sole is due" in notice["text"]
    assert "Its top piece at the heel is due before that:" in notice["text"]
    assert "Its top piece at the heel is due before that:" in notice["html"]
