"""Can a rack be planned with a browser's forms alone, and does the page tell what is wrong?"""

from __future__ import annotations

import re

import pytest

from solespan.api.errors import Refused
from solespan.api.services.planning import plans
from solespan.api.services.planning.asked_plans import PlanWorker, make_asked
from solespan.api.services.rack import rack_extras_page


def send(client, **fields):
    page = client.get("/plan?wearer=ada").text
    token = re.search(r'name="form_token" value="([^"]+)"', page)[1]
    given = {"form_token": token, "wearer": "ada", "weeks": "3", "most_away": "1"} | fields
    answer = client.post("/plan", data=given)
    if answer.status_code == 200:
        assert "Working on your plan" in answer.text, "nothing is planned in the request"
        assert make_asked(client.app.state.services) == 1
        return client.get("/plan?wearer=ada")
    return answer


def newest(client):
    items = client.get("/v1/rack-plans", params={"wearer_id": "ada"}).json()["items"]
    return client.get(f"/v1/rack-plans/{items[0]['plan_id']}").json() if items else None


def test_weekdays_rest_and_an_occasion_are_planned_as_the_form_says_and_stay_in_it(client):
    week = {f"day_{day}": "casual" if day < 5 else "none" for day in range(7)}
    occasion = {
        "occasion_0": "2026-07-04",
        "occasion_code_0": "formal",
        "reserved_0": "ada-0",
        "occasion_name_0": "a wedding",
        "occasion_1": "2026-07-08",
        "aim_spread": "4",
    }
    page = send(client, **week, **occasion, rest_days="3", rest_days_wet="4", budget="150").text
    days = {day["worn_on"]: day for day in newest(client)["days"]}
    assert days["2026-07-04"] == days["2026-07-04"] | {"dress_code": "formal", "pair_id": "ada-0"}
    assert days["2026-07-05"]["dress_code"] == "none", "a Sunday"
    assert days["2026-07-06"]["dress_code"] == "casual"
    assert re.search(r'name="rest_days" [^>]*value="3"', page)
    assert re.search(r'name="budget" [^>]*value="150"', page)
    assert re.search(r"<option selected>casual</option>", page)
    assert 'value="2026-07-08"' in page, "every occasion stays, to be edited"
    assert "a wedding" in page
    assert re.search(r'name="aim_spread" [^>]*value="4"', page)
    assert "aims above all at new soles spread over the quarters" in page


def test_preference_and_months_are_kept_with_the_pair(client):
    send(client, **{"prefer:ada-0": "0.2", "from:ada-0": "11", "until:ada-0": "2"})
    traits = client.get("/v1/pair-traits/ada-0").json()
    assert (traits["weight"], traits["months"]) == (0.2, [1, 2, 11, 12])
    page = client.get("/plan?wearer=ada").text
    assert re.search(r'<option value="0.2" selected>for best', page)
    assert re.search(r'<option value="11" selected>November', page)
    foreign = send(client, **{"prefer:ben-0": "0.2"})
    assert foreign.status_code in (404, 422)


def test_a_plan_that_cannot_be_made_says_so_on_the_page(client, monkeypatch):
    def refuse(*_, **__):
        raise Refused("No plan was found.", where="weeks", remedy="Ask for less.")

    monkeypatch.setattr(plans, "plan_rack", refuse)
    assert "No plan was found." in send(client).text
    assert newest(client) is None


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"weeks": "99"}, "Possible: 1 to 60"),
        ({"weeks": "few"}, "Weeks: give a whole number from 0"),
        ({"rest_days": "4", "rest_days_wet": "1"}, "Possible: 4 to 6"),
        ({"budget": "much"}, "Budget a quarter: give a whole number from 0"),
        ({"occasion_0": "soon"}, "Occasion: give a day as YYYY-MM-DD"),
        ({"reserved_0": "ada-0"}, "for an occasion without a day"),
        (
            {"occasion_0": "2026-07-04", "occasion_code_0": "regal"},
            "choose one of formal, business",
        ),
        ({"occasion_1": "2026-07-04", "reserved_1": "ada-3"}, "ada-3 is retired"),
    ],
)
def test_a_wish_that_cannot_be_is_told_in_words_keeps_what_was_typed_and_plans_nothing(
    client, fields, said
):
    answer = send(client, most_away="7", **fields)
    assert answer.status_code == 422
    (told,) = re.findall(r'role="alert" class="problem">([^<]+)<', answer.text)
    assert said in told
    assert "where:" not in told
    assert "_" not in told, "no name of a field"
    assert re.search(r'name="most_away" [^>]*value="7"', answer.text)
    assert newest(client) is None


def test_a_retired_pair_is_not_offered(client):
    for address in ("/plan?wearer=ada", "/what-if?wearer=ada"):
        page = client.get(address).text
        assert '<option value="ada-0">' in page
        assert '<option value="ada-3">' not in page


def test_with_and_without_the_plan_is_computed_once_a_page(client, monkeypatch):
    asked = []
    real = rack_extras_page.forecasts_if
    monkeypatch.setattr(
        rack_extras_page, "forecasts_if", lambda *a, **k: asked.append(1) or real(*a, **k)
    )
    assert "Make a plan" in client.get("/spread?wearer=ada").text
    send(client)
    page = client.get("/spread?wearer=ada").text
    assert len(asked) == 1
    assert 'id="figure-due_spread">{"data":' in page
    assert "/figures/due_spread" not in page


def test_with_several_racks_and_none_named_one_is_chosen(client):
    page = client.get("/spread")
    assert page.status_code == 200
    assert "Choose whose rack" in page.text
    assert 'name="wearer"' in page.text


def test_another_habit_is_asked_for_on_a_page_and_changes_nothing(client):
    page = client.get("/what-if", params={"wearer": "ada", "pair": "ada-0", "pace": "3"}).text
    asked = client.post(
        "/v1/what-if",
        json={
            "wearer_id": "ada",
            "habits": [{"kind": "pace", "pair_id": "ada-0", "wears_per_week": 3}],
        },
    ).json()
    wears = {one["pair_id"]: f"{one['wear_days_365d_then']:.0f}" for one in asked["items"]}
    told = re.findall(r'data-label="wears a year, then">(\d+)<', page)
    assert sorted(told) == sorted(wears.values())
    assert re.search(r"The send-by dates? of \d pairs? moves? by", page)
    assert newest(client) is None


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"pair": "ada-0", "pace": "often"}, "is no number of wears a week"),
        ({"pair": "ada-0", "pace": "-2"}, "Possible: a number from 0 to 7"),
        ({"pair": "ada-0", "pace": "6.5"}, "leave no rest between"),
        ({"pace": "2"}, "No pair was chosen"),
        ({"pair": "ada-3", "pace": "2"}, "ada-3 is retired"),
        ({"rest": "9"}, "Possible: a whole number from 0 to 6"),
    ],
)
def test_a_habit_that_cannot_be_is_told_and_what_was_typed_stays(client, asked, said):
    answer = client.get("/what-if", params={"wearer": "ada"} | asked)
    assert answer.status_code == 422
    (told,) = re.findall(r'role="alert" class="problem">([^<]+)<', answer.text)
    assert said in told
    kept = [text for name, text in asked.items() if name != "pair"]
    assert all(f'value="{text}"' in answer.text for text in kept)


def test_the_thread_of_plans_makes_what_a_page_asked_for(client, services):
    page = client.get("/plan?wearer=ada").text
    token = re.search(r'name="form_token" value="([^"]+)"', page)[1]
    client.post("/plan", data={"form_token": token, "wearer": "ada", "weeks": "2"})
    assert newest(client) is None
    PlanWorker(services).turn()
    assert newest(client)["weeks"] == 2
