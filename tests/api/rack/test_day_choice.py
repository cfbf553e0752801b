"""Does what is said of a day hold for that day, and a weekday's dress code for each such day?"""

from datetime import date

import pytest

from solespan.api.services.rack.day_choice import (
    SaidOfDay,
    code_of_week,
    read_day_choice,
    write_day_choice,
)
from solespan.dashboards.pages.rack.today import DayChoice
from tests.api.rack.test_adding import post, rows
from tests.dashboards.test_rack_parts import PAIRS, all_sound, panel

DAY = date(2026, 11, 25)  # a Wednesday


def test_what_was_said_is_read_back_on_its_day_only():
    said = SaidOfDay("business", wet=True, skipped=["p-1", "Größe 2"])
    cookie = write_day_choice(DAY, said)
    assert read_day_choice(cookie, DAY) == said
    assert read_day_choice(cookie, date(2026, 11, 26)) == SaidOfDay()


@pytest.mark.parametrize("odd", ["", "x", "%", "bnVsbA", write_day_choice(DAY, SaidOfDay())[:-4]])
def test_a_cookie_that_cannot_be_read_says_nothing(odd):
    assert read_day_choice(odd, DAY) == SaidOfDay()


def test_a_week_has_a_code_for_each_day_or_none():
    week = "formal any business any casual any any"
    assert [code_of_week(week, date(2026, 11, day)) for day in (23, 24, 25)] == [
        "formal",
        "",
        "business",
    ]
    assert code_of_week("formal", DAY) == code_of_week(None, DAY) == ""


def test_each_weekday_keeps_its_code_with_the_wearer(client):
    form = {"wearer": "ada", "code": "formal", "weekly": "true", "do": "day"}
    assert post(client, "/today", form | {"from": "/?wearer=ada"}).status_code == 303
    (ada,) = rows(client, "wearers", wearer_id="ada")
    assert ada["dress_week"].split() == ["any", "any", "formal", "any", "any", "any", "any"]
    assert "formal" in client.get("/?wearer=ada").text.partition("today-heading")[2][:200]


def test_the_pick_suits_the_day_and_is_not_the_one_that_was_skipped():
    situation = all_sound(4)
    codes = ["casual", "business", None, "business"]
    situation.log.pairs["dress_code"] = codes
    rested = [(p, 9 - i, False) for i, p in enumerate(PAIRS)]
    said = panel(*rested, situation=situation, day=DayChoice(code="business"))
    assert said["pick"]["pair_id"] == PAIRS[1]
    assert "business" in said["pick"]["reason"]
    said = panel(*rested, situation=situation, day=DayChoice("business", skipped=[PAIRS[1]]))
    assert said["pick"]["pair_id"] == PAIRS[3]
    assert PAIRS[1] not in {one["pair_id"] for one in said["others"]}
    said = panel(*rested, situation=situation, day=DayChoice(wet=True, rubber=[PAIRS[2]]))
    assert said["pick"]["pair_id"] == PAIRS[2]
    assert "rubber sole, wet day" in said["pick"]["reason"]
