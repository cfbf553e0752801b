"""Are records that cannot be true refused, by field, leaving the database as it was?"""

from __future__ import annotations

import pytest

SOLE = {
    "sole_id": "new",
    "pair_id": "derby",
    "fitted_on": "2026-06-01",
    "material": "rubber",
    "nominal_thickness_mm": 6,
}
CHECK = {
    "pair_id": "oxford",
    "checked_on": "2026-06-10",
    "foot": "left",
    "point": "ball",
    "method": "caliper",
    "value_mm": 4,
}
JOB = {"pair_id": "boot", "work": "top_piece", "received_on": "2026-06-01"}
DAY = {"pair_id": "oxford", "worn_on": "2026-06-10"}
PAIR = {"pair_id": "new", "wearer_id": "ada", "construction": "blake"}
HUGE = 10**30

CASES = [
    ("wearers", {"time_zone": "Mars/Olympus"}, "time_zone"),
    ("wearers", {"driving_foot": "third"}, "driving_foot"),
    ("wearers", {"wearer_id": "a/b"}, "wearer_id"),
    ("wearers", {"wearer_id": "a" * 65}, "wearer_id"),
    ("wearers", {"email": "nobody"}, "email"),
    ("pairs", PAIR | {"wearer_id": "nobody"}, "wearer_id"),
    ("pairs", PAIR | {"acquired_on": "2026-06-16"}, "acquired_on"),
    ("pairs", PAIR | {"price_minor": HUGE, "currency": "EUR"}, "price_minor"),
    ("pairs", PAIR | {"price_minor": 100}, "currency"),
    ("pairs", PAIR | {"price_minor": 100, "currency": "euro"}, "currency"),
    ("pairs", PAIR | {"earlier_resoles": True}, "earlier_resoles"),
    ("pairs", PAIR | {"label": "a\x00b"}, "label"),
    ("soles", SOLE | {"pair_id": "nobody"}, "pair_id"),
    ("soles", SOLE | {"fitted_on": "2026-06-16"}, "fitted_on"),
    ("soles", SOLE | {"fitted_on": "2025-12-01"}, "fitted_on"),
    ("soles", SOLE | {"removed_on": "2026-05-31"}, "removed_on"),
    ("soles", SOLE | {"fitted_on": "2025-06-01", "removed_on": "2026-01-01"}, "removed_on"),
    ("soles", SOLE | {"limit_mm": 6}, "limit_mm"),
    ("soles", SOLE | {"nominal_thickness_mm": 0}, "nominal_thickness_mm"),
    ("soles", SOLE | {"nominal_thickness_mm": 40.5}, "nominal_thickness_mm"),
    ("wear-days", DAY | {"worn_on": "2026-06-16"}, "worn_on"),
    ("wear-days", DAY | {"worn_on": "2025-11-30"}, "worn_on"),
    ("wear-days", DAY | {"worn_on": 20260610}, "worn_on"),
    ("wear-days", DAY | {"worn_on": "2026-06-10T00:00:00"}, "worn_on"),
    ("wear-days", DAY | {"hours": -1}, "hours"),
    ("wear-days", DAY | {"hours": 24.5}, "hours"),
    ("wear-days", DAY | {"steps": 1.5}, "steps"),
    ("wear-days", DAY | {"wet": "maybe"}, "wet"),
    ("wear-days", DAY | {"surface": "ice"}, "surface"),
    ("checks", CHECK | {"checked_on": "2026-06-16"}, "checked_on"),
    ("checks", CHECK | {"value_mm": 41}, "value_mm"),
    ("checks", CHECK | {"value_mm": None}, "value_mm"),
    ("checks", CHECK | {"grade": "firm"}, "value_mm"),
    ("bench-jobs", JOB | {"returned_on": "2026-05-01"}, "returned_on"),
    ("bench-jobs", JOB | {"returned_on": "2026-06-16"}, "returned_on"),
]


@pytest.mark.parametrize(("path", "body", "field"), CASES)
def test_it_is_refused_at_its_field(logged, path, body, field):
    before = logged.get(f"/v1/{path}", params={"limit": 200}).json()
    answer = logged.post(f"/v1/{path}", json=body)
    assert answer.status_code == 422, answer.text
    assert field in {e["pointer"].removeprefix("#/") for e in answer.json()["errors"]}
    assert logged.get(f"/v1/{path}", params={"limit": 200}).json() == before


@pytest.mark.parametrize("text", ["NaN", "Infinity", "-Infinity", "1e999"])
def test_what_is_no_quantity_is_refused(logged, text):
    body = f'{{"pair_id": "oxford", "worn_on": "2026-06-10", "hours": {text}}}'
    answer = logged.post(
        "/v1/wear-days", content=body, headers={"content-type": "application/json"}
    )
    assert answer.status_code in (400, 422)


def test_today_is_the_day_where_the_wearer_lives(logged, clock):
    """At 23:00 in UTC it is the next day in Vienna already, but not for a wearer in UTC."""
    clock.move(hours=11)
    body = {"worn_on": "2026-06-16"}
    assert logged.post("/v1/wear-days", json=body | {"pair_id": "oxford"}).status_code == 201
    assert logged.post("/v1/wear-days", json=body | {"pair_id": "boot"}).status_code == 422


def test_a_pair_without_a_sole_has_no_wear_days(logged):
    logged.post("/v1/pairs", json=PAIR)
    answer = logged.post("/v1/wear-days", json={"pair_id": "new", "worn_on": "2026-06-01"})
    assert answer.status_code == 422
    assert "no sole" in answer.json()["detail"]


def test_an_unknown_pair_names_the_nearest_known_one(logged):
    answer = logged.post("/v1/wear-days", json={"pair_id": "oxfrod", "worn_on": "2026-06-01"})
    assert "'oxford'" in answer.json()["errors"][0]["accepted"]
