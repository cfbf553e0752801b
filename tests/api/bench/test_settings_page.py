"""Has every setting of the bench a field, and does the form keep what was typed?"""

from __future__ import annotations

import re

import pytest
from pydantic import Field

from solespan.api.schemas.bench.shop import BenchSettings
from solespan.api.schemas.model_form import form_parts, read_model_form, typed_of

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


def hidden(page: str) -> dict[str, str]:
    return dict(re.findall(r'type="hidden" name="([^"]+)" value="([^"]*)"', page))


def send(client, **typed: str):
    page = client.get("/bench-settings").text
    return client.post("/bench-settings", data=hidden(page) | typed, follow_redirects=False)


def test_every_setting_has_a_field_on_the_page_with_its_default(client):
    page = client.get("/bench-settings").text
    settings = BenchSettings()
    for name in BenchSettings.model_fields:
        assert re.search(rf'name="{name}(_[0-9a-z_]+)?"', page), name
    for part in form_parts(BenchSettings, typed_of(settings)):
        for _, _, leaves in part.rows:
            assert all(f'name="{leaf.name}"' in page for leaf in leaves)
    assert "Full sole, default 110" in page
    assert page.count("common practice, no source") >= 6


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


def test_the_shop_sets_the_cost_of_leather_and_a_closure_on_the_page(client):
    typed = {"leather_cost_minor_sole": "28,50", "closures_2_first_on": "2026-12-24"}
    typed |= {"closures_2_last_on": "2026-12-31", "currency": "", "hours_by_weekday_0": "4"}
    assert send(client, **typed).status_code == 303
    kept = client.get("/v1/bench-settings").json()
    assert kept["version"] == 1
    assert kept["settings"]["leather_cost_minor"] == {"sole": 2850}
    assert [c["first_on"] for c in kept["settings"]["closures"]] == ["2026-12-24"]
    assert kept["settings"]["hours_by_weekday"] == [4, 7, 7, 7, 7, 0, 0]
    assert kept["settings"]["currency"] == "EUR"
    page = client.get("/bench-settings").text
    assert 'value="28.5"' in page
    assert hidden(page)["version"] == "1"


@pytest.mark.parametrize(
    ("typed", "field", "said"),
    [
        ({"benches": "0"}, "benches", "from 1 to 50"),
        ({"post_share": "101"}, "post_share", "from 0 to 100"),
        ({"price_minor_rewelt": "much"}, "price_minor_rewelt", "give a number from 0"),
        ({"closures_1_first_on": "2026-12-24"}, "closures_1_last_on", "give a day"),
        ({"machines_0_name": "finisher"}, "machines_0", "works: tick at least one"),
    ],
)
def test_what_cannot_be_is_told_beside_its_field_and_nothing_changes(client, typed, field, said):
    answer = send(client, **typed)
    assert answer.status_code == 422
    problem = re.search(rf'id="b-{field}-problem">([^<]+)<', answer.text)
    assert problem, field
    assert said in problem[1]
    assert client.get("/v1/bench-settings").json()["version"] == 0


def test_settings_that_someone_else_changed_are_not_overwritten(client):
    send(client, benches="2")
    answer = send(client, version="0", benches="5")
    assert answer.status_code == 422
    assert "changed since" in answer.text
    assert client.post("/bench-settings", data={"benches": "9"}).status_code >= 400
    assert client.get("/v1/bench-settings").json()["settings"]["benches"] == 2
