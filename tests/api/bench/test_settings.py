"""Has every setting of a shop a field, a default with its origin, a command and a check?"""

from __future__ import annotations

import random
import re

import pytest
from pydantic import Field

from solespan.api.schemas.bench.shop import BenchSettings
from solespan.api.schemas.edition import ChangedMeanwhile, edition_of, refuse_other_edition
from solespan.api.schemas.model_form import form_parts, read_model_form, typed_of
from solespan.api.services.operation.settings.register import GROUPS, SECTIONS
from solespan.api.services.operation.settings.sections import fields_of

FULL = {
    "currency": "GBP",
    "hours_by_weekday": [8, 8, 0, 7.5, 7, 0, 0],
    "closures": [
        {"first_on": "2026-12-24", "last_on": "2027-01-06", "hours_per_day": 0},
        {"first_on": "2027-07-01", "last_on": "2027-07-02", "hours_per_day": 3},
    ],
    "benches": 3,
    "in_work_limit": 12,
    "skills": [["top_piece", "toe_plate"]],
    "machines": [{"name": "finisher", "count": 2, "works": ["full_sole"]}],
    "post_share": 0.07,
    "urgent_first": True,
    "price_minor": {"full_sole": 12950},
    "leather_cost_minor": {"sole": 2899},
}
FORMS = [section for section in SECTIONS if not section.page]


@pytest.fixture
def client(client):
    client.cookies["shop"] = "on"
    return client


def hidden(page: str) -> dict[str, str]:
    return dict(re.findall(r'type="hidden" name="([^"]+)" value="([^"]*)"', page))


def send(client, name: str, seen: str = "", **typed: str):
    """Fill in a section's form; `seen` is its page as it was opened, else as it is now."""
    address = f"/settings/{name}"
    page = seen or client.get(address).text
    return client.post(address, data=hidden(page) | typed, follow_redirects=False)


def group_of(client, name: str) -> dict:
    return client.get(f"/v1/settings/{name}").json()


def test_every_setting_that_a_program_reads_has_a_field_on_its_page(client):
    rows = client.get("/v1/settings").json()["items"]
    names = [row["name"] for row in rows]
    assert len(set(names)) == len(names)
    known = {
        f"{g}.{field}" for g, group in GROUPS.items() for field in group.default().model_dump()
    }
    assert known == set(names), "every field of every group stands in one section"
    pages = {page: client.get(page).text for page in {row["page"] for row in rows}}
    for row in rows:
        field = row["name"].partition(".")[2]
        assert re.search(rf'name="{field}(_[0-9a-z_ ]+)?"', pages[row["page"]]), row["name"]
        assert row["origin"] in ("default", "machine")


@pytest.mark.parametrize("section", FORMS, ids=lambda section: section.name)
def test_every_field_of_a_section_stands_there_with_its_default_and_origin(client, section):
    page = client.get(section.address).text
    model = type(GROUPS[section.group].default())
    for part in form_parts(model, {}, fields_of(section)):
        assert part.help.removesuffix(".").replace("'", "&#39;") in page
        for _, _, leaves in part.rows:
            assert all(f'name="{leaf.name}"' in page for leaf in leaves)
    assert "An empty field takes its default" in page
    sent = send(client, section.name)
    assert sent.status_code == 422 or client.get(section.address).status_code == 200


def test_a_new_setting_has_a_field_without_another_edit():
    class Pots(BenchSettings):
        glue_pots: int = Field(default=2, ge=0, le=9, description="pots of glue. Unit: pots")

    found = {part.name: part for part in form_parts(Pots, {})}
    assert found["glue_pots"].rows[0][2][0].default == "2"
    assert read_model_form(Pots, {"glue_pots": "4"}).glue_pots == 4


@pytest.mark.parametrize("values", [{}, FULL])
def test_what_is_kept_is_typed_and_read_again_as_it_is(values):
    settings = BenchSettings.model_validate(values)
    prices = BenchSettings().price_minor | dict(settings.price_minor)
    assert read_model_form(BenchSettings, typed_of(settings)) == settings.model_copy(
        update={"price_minor": prices}
    )


def test_the_shop_sets_its_hours_a_closure_and_the_cost_of_leather_on_pages(client):
    hours = {"closures_2_first_on": "2026-12-24", "closures_2_last_on": "2026-12-31"}
    assert send(client, "hours", **hours, hours_by_weekday_0="4").status_code == 303
    assert send(client, "prices", leather_cost_minor_sole="28,50", currency="").status_code == 303
    kept = group_of(client, "bench")
    assert kept["version"] == 2
    assert kept["settings"]["leather_cost_minor"] == {"sole": 2850}
    assert [c["first_on"] for c in kept["settings"]["closures"]] == ["2026-12-24"]
    assert kept["settings"]["hours_by_weekday"] == [4, 7, 7, 7, 7, 0, 0]
    assert kept["settings"]["currency"] == "EUR"
    assert 'value="28.5"' in client.get("/settings/prices").text
    rows = {row["name"]: row for row in client.get("/v1/settings").json()["items"]}
    assert rows["bench.hours_by_weekday"]["origin"] == "shop"
    assert rows["bench.benches"]["origin"] == "default"
    history = client.get("/history").text
    assert "shop setting" in history


@pytest.mark.parametrize(
    ("name", "typed", "field", "said"),
    [
        ("benches", {"benches": "0"}, "benches", "from 1 to 50"),
        ("benches", {"post_share": "101"}, "post_share", "from 0 to 100"),
        ("prices", {"price_minor_rewelt": "much"}, "price_minor_rewelt", "give a number from 0"),
        ("prices", {"currency": "euro"}, "currency", "three capital letters"),
        ("hours", {"closures_1_first_on": "2026-12-24"}, "closures_1_last_on", "give a day"),
        ("benches", {"machines_0_name": "mill"}, "machines_0", "works: tick at least one"),
        ("sender", {"language": "fr"}, "language", "choose one of en, de"),
        ("sender", {"mail_from": "nowhere"}, "mail_from", "one @"),
    ],
)
def test_what_cannot_be_is_told_beside_its_field_and_nothing_changes(
    client, name, typed, field, said
):
    answer = send(client, name, **typed)
    assert answer.status_code == 422
    problem = re.search(rf'id="b-{field}-problem">([^<]+)<', answer.text)
    assert problem, field
    assert said in problem[1]
    assert all(group_of(client, group)["version"] == 0 for group in GROUPS)


def test_the_second_of_two_people_sees_what_changed_and_keeps_what_was_typed(client):
    seen = client.get("/settings/benches").text
    assert send(client, "benches", seen, benches="2").status_code == 303
    answer = send(client, "benches", seen, benches="5", most_weeks_early="9")
    assert answer.status_code == 409
    assert "<b>Benches (benches)</b> is now 2. You typed 5" in answer.text
    assert 'name="benches" type="text" value="5"' in answer.text
    assert 'name="most_weeks_early" type="text" value="9"' in answer.text
    assert group_of(client, "bench")["settings"]["benches"] == 2
    again = send(client, "benches", answer.text, benches="5", most_weeks_early="9")
    assert again.status_code == 303
    assert group_of(client, "bench")["settings"]["benches"] == 5


def test_a_field_that_the_second_left_alone_takes_the_newer_value(client):
    seen = client.get("/settings/tolerances").text
    typed = {"width_tolerance_mm": "0.5", "pitch_tolerance_degrees": "1"}
    send(client, "tolerances", seen, **typed | {"width_tolerance_mm": "0.7"})
    answer = send(client, "tolerances", seen, **typed | {"pitch_tolerance_degrees": "2"})
    assert answer.status_code == 409
    assert 'name="width_tolerance_mm" type="text" value="0.7"' in answer.text
    assert 'name="pitch_tolerance_degrees" type="text" value="2"' in answer.text


def test_two_people_with_different_sections_of_one_group_do_not_meet(client):
    hours, prices = (client.get(f"/settings/{name}").text for name in ("hours", "prices"))
    assert send(client, "hours", hours, hours_by_weekday_0="3").status_code == 303
    assert send(client, "prices", prices, currency="CHF").status_code == 303
    kept = group_of(client, "bench")["settings"]
    assert (kept["hours_by_weekday"][0], kept["currency"]) == (3, "CHF")


def test_an_edition_refuses_exactly_when_something_else_stands_there():
    """500 random forms and two editors: nothing is overwritten, and nothing typed is lost."""
    chance = random.Random(7)
    names = [f"field_{k}" for k in range(6)]

    def some() -> dict[str, str]:
        return {name: chance.choice(("", "1", "2", " 2 ")) for name in names}

    for _ in range(500):
        opened, now, typed = some(), some(), some()
        same = all(opened[n].strip() == now[n].strip() for n in names)
        typed["edition"] = edition_of(opened)
        if same:
            refuse_other_edition(typed, now)
            continue
        with pytest.raises(ChangedMeanwhile) as caught:
            refuse_other_edition(typed, now)
        values, changed = caught.value.values, {c.name for c in caught.value.changes}
        assert changed == {n for n in names if opened[n].strip() != now[n].strip()}
        for name in names:
            left_alone = typed[name].strip() == opened[name].strip()
            expected = now if name in changed and left_alone else typed
            assert values[name].strip() == expected[name].strip()
        refuse_other_edition(values, now)


def test_programs_patch_a_group_by_its_version_and_null_is_the_default(client):
    read = client.get("/v1/settings/shop")
    tag = {"if-match": read.headers["etag"]}
    patch = {"time_zone": "Europe/Vienna"}
    assert client.patch("/v1/settings/shop", json=patch).status_code == 428
    assert client.patch("/v1/settings/shop", json=patch, headers=tag).status_code == 200
    assert client.patch("/v1/settings/shop", json=patch, headers=tag).status_code == 412
    after = client.patch("/v1/settings/shop", json={"time_zone": None}, headers={"if-match": "*"})
    assert after.json()["settings"] == {"time_zone": None}
    wrong = client.patch("/v1/settings/shop", json={"time_zone": "no"}, headers={"if-match": "*"})
    assert wrong.status_code == 422
    assert client.get("/v1/settings/nothing").status_code == 404


def test_a_shop_with_nothing_set_sees_the_whole_list_and_it_ends_when_all_is_done(client):
    page = client.get("/settings").text
    assert "Before your first notice: 1 of 10 done" in page  # there are customers
    assert "SOLESPAN_" not in page
    for name in ("hours", "prices", "notices"):
        assert send(client, name, channels_mail="true", price_minor_rewelt="90").status_code == 303
    send(client, "shop", time_zone="Europe/Vienna")
    send(client, "sender", shop_name="At the Last", shop_contact="12 Lane")
    page = client.get("/settings").text
    assert re.findall("first notice: ([^<]*)", page) == ["6 of 10 done"]
    assert "Send a test mail" in page


def test_the_search_finds_a_setting_by_a_word_of_its_label(client):
    page = client.get("/settings", params={"q": "risk send-by"}).text
    assert 'href="/settings/bands"' in page
    assert 'href="/settings/hours"' not in page
    assert "No setting has these words" in client.get("/settings", params={"q": "zebra"}).text


def test_care_rules_and_ways_of_the_shop_hold_for_owners_without_their_own(client):
    def rule(upper: str, care: str) -> dict:
        items = client.get("/v1/care-rules", params={"wearer_id": "ada"}).json()["items"]
        return next(one for one in items if (one["upper"], one["care"]) == (upper, care))

    def ways() -> dict:
        items = client.get("/v1/resole-routes", params={"wearer_id": "ada"}).json()["items"]
        return {one["route_id"]: one for one in items}

    assert rule("smooth_calf", "brush")["every_wears"] == 3
    assert set(ways()) == {"local", "specialist", "maker"}
    care = {"smooth_calf_brush_every_wears": "5", "smooth_calf_waterproof_months": "10, 11 12"}
    assert send(client, "care", **care, smooth_calf_waterproof_after_wet="true").status_code == 303
    assert rule("smooth_calf", "brush")["every_wears"] == 5
    assert rule("smooth_calf", "waterproof")["months"] == [10, 11, 12]
    way = {"route_id": "us", "name": "our bench", "wait_days": "2", "price_minor": "99,50"}
    way |= {"lead_days_p50": "7", "lead_days_p90": "14", "abilities_rewelt": "true"}
    typed = {f"ways_0_{name}": value for name, value in way.items()}
    assert send(client, "ways", **typed).status_code == 303
    assert {name: one["price_minor"] for name, one in ways().items()} == {"us": 9950}
    assert ways()["us"]["abilities"] == ["rewelt"]
    wrong = send(client, "ways", **{**typed, "ways_0_lead_days_p90": "3"})
    assert wrong.status_code == 422
