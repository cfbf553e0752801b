"""Is a thickness beside a thumb grade logged once, asked about where odd, and learnt from?"""

from __future__ import annotations

import pytest

DAY = "2026-06-10"
PRESSED = {"pair": "oxford", "left-ball": "give", "left": "3,1", "method": "depth_gauge"}


def token(fitted) -> str:
    if "form_token" not in fitted.cookies:
        fitted.get("/thumb?pair=oxford")
    return fitted.cookies["form_token"]


def send(fitted, typed: dict, **more: str):
    form = {"form_token": token(fitted), "checked_on": DAY, **typed, **more}
    return fitted.post("/thumb", data=form, follow_redirects=False)


def checks(fitted, **equal: str) -> list[tuple]:
    rows = fitted.get("/v1/checks", params={"pair_id": "oxford", "since": DAY, "limit": 200})
    rows = [r for r in rows.json()["items"] if all(r[k] == v for k, v in equal.items())]
    return [(r["foot"], r["method"], r["grade"], r["value_mm"]) for r in rows]


def calibrate(fitted, pair_id: str = "oxford", **body: object):
    body = {"foot": "left", "grade": "give", "checked_on": DAY} | body
    return fitted.post(f"/v1/pairs/{pair_id}/calibrations", json=body)


@pytest.fixture
def read() -> dict[str, object]:
    return {"value_mm": 3.1, "method": "depth_gauge"}


class TestPage:
    def test_a_grade_and_a_thickness_become_two_checks_of_one_spot(self, fitted):
        assert send(fitted, PRESSED).status_code == 303
        assert checks(fitted) == [
            ("left", "depth_gauge", None, 3.1),
            ("left", "thumb", "give", None),
        ]

    def test_sent_twice_it_is_logged_once(self, fitted):
        assert send(fitted, PRESSED).headers["location"].endswith("done=check")
        assert send(fitted, PRESSED).headers["location"].endswith("done=same")
        assert len(checks(fitted)) == 2

    def test_without_a_thickness_it_is_a_thumb_check_as_before(self, fitted):
        assert send(fitted, {"pair": "oxford", "left-ball": "give", "left": ""}).status_code == 303
        assert checks(fitted) == [("left", "thumb", "give", None)]

    def test_the_page_says_what_is_known_of_the_thumb(self, fitted):
        page = fitted.get("/thumb?pair=oxford").text
        assert 'id="calibrate"' in page
        assert "Your thumb says firm from about" in page
        assert 'href="/thumb?pair=oxford#calibrate"' in fitted.get("/pairs/oxford").text

    def test_a_soft_sole_of_full_thickness_is_asked_about_and_taken_once_confirmed(self, fitted):
        odd = PRESSED | {"left-ball": "soft", "left": "4.9"}
        answer = send(fitted, odd)
        assert answer.status_code == 422
        assert "4.9 mm thick there" in answer.text
        assert 'name="sure"' in answer.text
        assert checks(fitted) == []
        assert send(fitted, odd, sure="true").status_code == 303
        assert len(checks(fitted)) == 2

    def test_a_thickness_of_a_ball_that_was_not_pressed_is_refused(self, fitted):
        answer = send(fitted, PRESSED | {"left-ball": "skip", "right-ball": "give"})
        assert answer.status_code == 422
        assert "press this ball too" in answer.text
        assert checks(fitted) == []


class TestService:
    def test_it_narrows_what_is_known_of_the_thumb(self, fitted, read):
        told = calibrate(fitted, **read).json()
        assert told["new"] is True
        assert told["now"]["sd_mm"] < told["before"]["sd_mm"]
        again = calibrate(fitted, **read).json()
        assert again["new"] is False
        assert again["now"] == again["before"] == told["now"]

    def test_a_thin_sole_that_feels_firm_lowers_the_cut_points(self, fitted, read):
        told = calibrate(fitted, grade="firm", **(read | {"value_mm": 2.4})).json()
        assert told["now"]["firm_from_mm"] < told["before"]["firm_from_mm"]

    def test_an_odd_grade_is_refused_with_the_way_to_confirm_it(self, fitted, read):
        odd = read | {"grade": "soft", "value_mm": 4.9}
        answer = calibrate(fitted, **odd)
        assert answer.status_code == 422
        assert "sure: true" in answer.text
        assert checks(fitted) == []
        assert calibrate(fitted, sure=True, **odd).status_code == 200

    def test_a_worn_sole_needs_a_thickness(self, fitted):
        answer = calibrate(fitted)
        assert answer.status_code == 422
        assert "give the thickness" in answer.text
        assert checks(fitted) == []

    def test_a_new_sole_needs_no_gauge_but_is_not_soft(self, fitted):
        sole = {
            "sole_id": "boot-2", "pair_id": "boot", "fitted_on": DAY,
            "material": "rubber", "nominal_thickness_mm": 5.0,
        }  # fmt: skip
        fitted.patch("/v1/soles/boot-1", json={"removed_on": DAY}, headers={"if-match": "*"})
        assert fitted.post("/v1/soles", json=sole).status_code == 201
        answer = calibrate(fitted, "boot", grade="soft")
        assert answer.status_code == 422
        assert "is new and 5.0 mm thick" in answer.text
        assert calibrate(fitted, "boot", grade="firm").status_code == 200

    def test_a_pair_that_is_not_there_is_named(self, fitted, read):
        answer = calibrate(fitted, "oxfrod", **read)
        assert answer.status_code == 404
        assert "oxfrod" in answer.text

    def test_a_thickness_needs_its_gauge(self, fitted):
        answer = calibrate(fitted, value_mm=3.1)
        assert answer.status_code == 422
        assert "gauge" in answer.text


def test_before_the_first_fit_it_is_logged_and_nothing_is_claimed(client, read):
    for name, body in (
        ("wearers", {"wearer_id": "tom"}),
        ("pairs", {"pair_id": "oxford", "wearer_id": "tom", "construction": "blake"}),
        ("soles", {
            "sole_id": "oxford-1", "pair_id": "oxford", "fitted_on": "2026-01-01",
            "material": "rubber", "nominal_thickness_mm": 5.0,
        }),
    ):  # fmt: skip
        assert client.post(f"/v1/{name}", json=body).status_code == 201
    told = calibrate(client, **read).json()
    assert told == {"new": True, "before": None, "now": None}
