"""What happens to a wear that is logged with one tap, changed, and taken back."""

import re

import pytest
import sqlalchemy as sa

from solespan.api.storage.tables.rack import Pair
from tests.api.rack.test_adding import post, rows
from tests.api.rack.test_forms import token

PAIR = {"pair": "pair-000"}


def today(client):
    return [r for r in rows(client, "wear_days", pair_id="pair-000") if f"{r['worn_on']}" == DAY]


DAY = "2026-11-25"


def follow(client, answer):
    return client.get(answer.headers["location"]).text


def strip_of(page):
    """The fields of the strip that offers to change or undo."""
    part = page.partition('id="logged"')[2].partition("</section>")[0]
    return dict(re.findall(r'name="(pair|worn_on|version)" value="([^"]+)"', part)), part


@pytest.fixture
def client(client):
    for row in today(client):
        services = client.app.state.services
        with services.database.writing() as session:
            from solespan.api.services.rack.records import delete

            key = {"pair_id": "pair-000", "worn_on": row["worn_on"]}
            delete(session, "wear_days", key, versions=None)
    return client


def test_one_tap_logs_a_usual_day_and_offers_to_change_or_undo_it(client):
    page = follow(client, post(client, "/wear", PAIR))
    (row,) = today(client)
    assert (row["wet"], row["hours"], row["surface"]) == (False, None, "pavement")
    assert "The wear is logged." in page
    fields, part = strip_of(page)
    assert fields == {"pair": "pair-000", "worn_on": DAY, "version": "1"}
    assert "It was wet" in part
    assert "Undo" in part


def test_a_second_tap_the_same_day_changes_nothing(client):
    post(client, "/wear", PAIR)
    page = follow(client, post(client, "/wear", PAIR | {"wet": "true"}))
    assert "logged already" in page
    assert [row["wet"] for row in today(client)] == [False]


def test_wet_and_hours_are_one_tap_more(client):
    fields, _ = strip_of(follow(client, post(client, "/wear", PAIR)))
    fields, part = strip_of(follow(client, post(client, "/wear/change", fields | {"wet": "true"})))
    assert "It was dry" in part
    post(client, "/wear/change", fields | {"hours": "4"})
    (row,) = today(client)
    assert (row["wet"], row["hours"]) == (True, 4.0)


def test_undo_takes_the_wear_back_and_only_as_it_was_shown(client):
    fields, _ = strip_of(follow(client, post(client, "/wear", PAIR)))
    post(client, "/wear/change", fields | {"wet": "true"})
    assert post(client, "/wear/undo", fields).status_code == 409, "it has changed since"
    assert len(today(client)) == 1
    post(client, "/wear/undo", fields | {"version": "2"})
    assert today(client) == []


def test_an_attempt_that_is_sent_again_logs_once_whatever_day_the_device_adds(client):
    key = {"idempotency-key": '"attempt"'}
    first = post(client, "/wear", PAIR, **key)
    again = post(client, "/wear", PAIR | {"worn_on": "2026-11-24"}, **key)
    assert again.headers["location"] == first.headers["location"]
    assert len(today(client)) == 1


def test_a_wear_kept_on_a_device_is_logged_on_its_own_day(client):
    post(client, "/wear", PAIR | {"worn_on": "2026-11-23"})
    days = [str(row["worn_on"]) for row in rows(client, "wear_days", pair_id="pair-000")]
    assert days.count("2026-11-23") == 1


@pytest.mark.parametrize(
    ("form", "status"),
    [
        ({"pair": "nobody"}, 404),
        (PAIR | {"worn_on": "2027-01-01"}, 422),
        (PAIR | {"worn_on": "soon"}, 422),
        (PAIR | {"hours": "99"}, 422),
        ({}, 404),
    ],
)
def test_what_cannot_be_true_is_a_page_that_says_so_and_nothing_is_logged(client, form, status):
    before = rows(client, "wear_days")
    answer = post(client, "/wear", form)
    assert answer.status_code == status
    assert answer.headers["content-type"].startswith("text/html")
    assert rows(client, "wear_days") == before


@pytest.mark.parametrize("address", ["/wear", "/wear/change", "/wear/undo", "/care", "/example"])
def test_no_form_without_this_browser_s_token_does_anything(client, address):
    token(client)
    answer = client.post(address, data=PAIR | {"form_token": "guessed"})
    assert answer.status_code == 422
    assert today(client) == []


@pytest.mark.parametrize("back", ["//elsewhere.example", "https://elsewhere.example/", "/x", ""])
def test_the_browser_is_only_sent_back_to_the_rack_or_a_pair(client, back):
    answer = post(client, "/wear", PAIR | {"from": back})
    assert answer.headers["location"].startswith("/?done=")


def test_the_browser_goes_back_to_the_narrowed_rack_it_came_from(client):
    answer = post(client, "/wear", PAIR | {"from": "/?wearer=bo"})
    assert answer.headers["location"].startswith("/?wearer=bo&done=wear")


def test_the_pair_page_weighs_the_cost_of_a_worn_out_pair(client):
    with client.app.state.services.database.writing() as session:
        session.execute(
            sa.update(Pair).where(Pair.pair_id == "pair-000").values(earlier_resoles=30)
        )
    page = client.get("/pairs/pair-000").text
    assert "stop wearing" in page
    said = re.findall(r'class="said">([^<]+)', page)[-1]
    assert said in ("Retire it", "Send it for a new sole and a new welt")
