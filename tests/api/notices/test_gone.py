"""Is nobody told about a pair that is probably gone, and is the desk asked instead?"""

from __future__ import annotations

import re

import pytest
import sqlalchemy as sa

from solespan.api.schemas.bench.orders import Move, NewOrder
from solespan.api.schemas.bench.workload import DueOutcomeGiven
from solespan.api.services.bench.orders import book, step
from solespan.api.services.bench.outcomes import keep_outcome
from solespan.api.services.forecasts.supposed_outcomes import keep_supposed
from solespan.api.services.notices.deciding import preview, run
from solespan.api.services.notices.reading import gone_pairs
from solespan.api.services.rack.sole_forms import give_up, say_in_use
from solespan.api.storage.bench.workload import load_outcomes
from solespan.api.storage.rack.records import find_record, list_records
from solespan.api.storage.tables.notices import Outbox
from solespan.api.storage.tables.results import ForecastRow

GONE = "ada-0"


@pytest.fixture
def gone(shop):
    """Let Ada's first pair be probably gone."""
    forecast_says(shop, chance_in_use=0.2)


def forecast_says(shop, **values):
    with shop.database.writing() as session:
        row = session.scalars(
            sa.select(ForecastRow).where(ForecastRow.sole_pk.is_not(None))
        ).first()
        for name, value in values.items():
            setattr(row, name, value)


def why(shop, pair_id=GONE):
    decided = preview(shop).decisions.set_index("pair_id")
    return decided.loc[pair_id, "why"]


def pressed(client, action):
    page = client.get("/notices").text
    hidden = dict(re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', page))
    data = hidden | {"from": "/notices"}
    return client.post(f"/pairs/{GONE}/{action}", data=data, follow_redirects=False)


def test_nobody_is_told_about_a_pair_that_is_probably_gone_and_the_desk_has_a_list(
    client, shop, gone
):
    assert why(shop) == "gone"
    assert [row["pair_id"] for row in gone_pairs(preview(shop), 9)] == [GONE]
    page = client.get("/notices").text
    assert "Probably no longer in use" in page
    assert "about 20 %" in page
    items = client.get("/v1/notices/preview").json()["items"]
    assert [i["reason"] for i in items if i["pair_id"] == GONE] == [
        "it is probably no longer in use"
    ]


def test_still_in_use_is_kept_as_the_owners_word_of_today(client, shop, gone):
    answer = pressed(client, "in-use")
    assert answer.headers["location"].startswith("/notices")
    with shop.database.reading() as session:
        assert str(find_record(session, "pairs", {"pair_id": GONE})["in_use_on"]) == "2026-11-25"
    assert client.get(f"/v1/pairs/{GONE}").json()["in_use_on"] == "2026-11-25"


def test_no_longer_in_use_retires_the_pair_as_of_today(client, shop, gone):
    assert pressed(client, "gone").status_code == 303
    with shop.database.reading() as session:
        (sole,) = list_records(session, "soles", equal={"pair_id": GONE}, limit=5)
    assert str(sole["removed_on"]) == "2026-11-25"


def test_a_command_does_the_same(shop):
    with shop.database.writing() as session:
        say_in_use(shop, session, GONE, {})
        give_up(shop, session, "ada-1", {})
    with shop.database.reading() as session:
        assert find_record(session, "pairs", {"pair_id": GONE})["in_use_on"] is not None


class TestAdvised:
    @pytest.fixture
    def told(self, shop):
        run(shop, only={"ada"})
        with shop.database.writing() as session:
            session.execute(sa.update(Outbox).values(state="sent"))

    def booked(self, shop, pair_id=GONE):
        with shop.database.writing() as session:
            return book(session, NewOrder(pair_id=pair_id, work="full_sole"), shop.clock)

    def received(self, shop, order):
        move = Move(to="received", version=order["version"])
        with shop.database.writing() as session:
            step(session, order["order_id"], move, shop.clock)
            return find_record(session, "bench_jobs", {"job_id": order["order_id"]})

    def test_a_booking_that_follows_a_notice_is_advised_and_so_is_its_job(self, client, shop, told):
        order = self.booked(shop)
        assert order["advised"]
        assert "came because of our notice" in client.get(f"/bench/{order['order_id']}").text
        assert self.received(shop, order)["advised"]
        assert client.get(f"/v1/bench-jobs/{order['order_id']}").json()["advised"]

    def test_who_was_not_told_came_on_their_own(self, shop, told):
        assert not self.booked(shop, "cy-0")["advised"]

    def test_a_notice_that_has_not_gone_out_advised_nobody(self, shop):
        run(shop, only={"ada"})
        assert not self.booked(shop)["advised"]

    def test_long_after_the_day_told_a_pair_comes_on_its_own(self, shop, told, clock):
        clock.move(days=400)
        assert not self.booked(shop)["advised"]

    def test_a_pair_told_of_between_booking_and_hand_over_is_advised(self, shop):
        order = self.booked(shop)
        assert not order["advised"]
        assert not self.received(shop, order)["advised"], "nobody wrote in between"


class TestSupposed:
    def outcomes(self, shop):
        with shop.database.reading() as session:
            return load_outcomes(session)

    @pytest.fixture
    def followed(self, shop):
        """One outcome told of another pair: from its day on the shop follows what becomes."""
        told = {"pair_id": "bo-3", "due_on": "2025-01-01", "outcome": "declined"}
        with shop.database.writing() as session:
            keep_outcome(session, DueOutcomeGiven(**told))

    def test_who_is_past_the_date_is_open_once_and_comes_after_all(self, shop, followed, clock):
        forecast_says(shop, chance_now=0.9)
        today = clock.today()
        assert keep_supposed(shop.database, today) == 1
        assert keep_supposed(shop.database, today) == 0, "again changes nothing"
        rows = self.outcomes(shop)
        row = rows[rows["supposed"]].iloc[0]
        assert (row["pair_id"], row["outcome"]) == (GONE, "open")
        clock.move(days=20)
        with shop.database.writing() as session:
            order = book(session, NewOrder(pair_id=GONE, work="full_sole"), shop.clock)
            move = Move(to="received", version=order["version"])
            step(session, order["order_id"], move, shop.clock)
        rows = self.outcomes(shop)
        assert not rows["supposed"].any()
        came = rows[rows["pair_id"] == GONE].iloc[0]
        assert came["outcome"] == "came"
        assert str(came["came_on"].date()) == str(clock.today())
        assert came["due_on"] == row["due_on"], "it was due on the day that was supposed"

    def test_a_pair_that_is_probably_gone_has_declined_until_it_is_not(self, shop, followed, clock):
        forecast_says(shop, chance_in_use=0.2)
        assert keep_supposed(shop.database, clock.today()) == 1
        assert set(self.outcomes(shop)["outcome"]) == {"declined"}
        forecast_says(shop, chance_in_use=0.9)
        assert keep_supposed(shop.database, clock.today()) == 1
        assert not self.outcomes(shop)["supposed"].any()
