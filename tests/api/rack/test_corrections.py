"""Do the pages of records correct, delete and restore, and ask about what looks wrong?"""

from __future__ import annotations

import re

import pytest

from tests.api.rack.test_history import ORDER, rows_of


def form(client, address: str, **typed: str):
    if "form_token" not in client.cookies:
        client.get("/history")
    data = {"form_token": client.cookies["form_token"], **typed}
    return client.post(address, data=data, follow_redirects=False)


class TestPages:
    WEAR = "/records/wear_days/oxford%2F2026-01-05"

    def test_a_record_is_corrected_deleted_and_brought_back(self, fitted, fitted_services):
        before = rows_of(fitted_services, moving=False)
        page = fitted.get("/pairs/oxford/records?month=2026-01").text
        assert self.WEAR in page
        answer = form(fitted, f"{self.WEAR}/edit", worn_on="2026-01-06", surface="rough", hours="5")
        assert answer.status_code == 303, answer.text
        address = answer.headers["location"]
        assert address.startswith("/records/wear_days/oxford%2F2026-01-06?said=changed&undo=")
        page = fitted.get(address).text
        assert "pavement → rough" in page
        gone = form(fitted, "/records/wear_days/oxford%2F2026-01-06/delete")
        revision = re.search("undo=([0-9a-f]{32})", gone.headers["location"])[1]
        page = fitted.get(gone.headers["location"]).text
        assert f'action="/history/{revision}/undo"' in page
        assert form(fitted, f"/history/{revision}/undo", **{"from": "/"}).status_code == 303
        edit = re.search("undo=([0-9a-f]{32})", address)[1]
        assert form(fitted, f"/history/{edit}/undo").headers["location"] == "/history?said=undone"
        assert rows_of(fitted_services, moving=False) == before

    def test_an_edit_of_an_old_state_is_told_and_loses_nothing(self, logged, logged_services):
        logged.patch(
            "/v1/wear-days/oxford/2026-01-05", json={"hours": 3}, headers={"if-match": "*"}
        )
        typed = {"worn_on": "2026-01-05", "surface": "rough", "hours": "7.5", "version": "1"}
        answer = form(logged, f"{self.WEAR}/edit", **typed)
        assert answer.status_code == 409
        assert "Somebody changed this record" in answer.text
        assert 'value="7.5"' in answer.text
        assert logged.get("/v1/wear-days/oxford/2026-01-05").json()["hours"] == 3
        again = form(logged, f"{self.WEAR}/edit", **typed | {"version": "2"})
        assert again.status_code == 303
        assert form(logged, f"{self.WEAR}/delete", version="2").status_code == 409

    def test_a_record_is_put_back_as_it_was(self, logged, logged_services):
        for hours in (3, 4):
            body = {"hours": hours}
            logged.patch("/v1/wear-days/oxford/2026-01-05", json=body, headers={"if-match": "*"})
        lines = logged.get("/v1/wear-days/oxford/2026-01-05/history").json()["entries"]
        answer = form(logged, f"{self.WEAR}/put-back", line=str(lines[1]["line"]), version="3")
        assert answer.status_code == 303
        assert logged.get("/v1/wear-days/oxford/2026-01-05").json()["hours"] is None

    def test_a_wearer_goes_only_when_that_is_confirmed(self, logged, logged_services):
        answer = form(logged, "/records/wearers/ada/delete")
        assert answer.status_code == 422
        assert "20 wear days" in answer.text
        assert form(logged, "/records/wearers/ada/delete", sure="true").status_code == 303
        assert logged.get("/v1/wearers/ada").status_code == 404
        assert "This record is deleted" in logged.get("/records/wearers/ada").text

    def test_a_booking_is_corrected_and_deleted(self, logged, logged_services):
        logged.post("/v1/bench-orders", json=ORDER)
        page = "/records/bench_orders/order-1"
        answer = form(logged, f"{page}/edit", note="by Friday", price="60,50", currency="EUR")
        assert answer.status_code == 303, answer.text
        order = logged.get("/v1/bench-orders/order-1").json()
        assert (order["note"], order["price_minor"]) == ("by Friday", 6050)
        assert order["expected_on"] is None  # the form had left it empty
        assert form(logged, f"{page}/edit", price="60", currency="").status_code == 422
        long = "long " * 300
        logged.patch("/v1/bench-orders/order-1", json={"note": long}, headers={"if-match": "*"})
        form(logged, f"{page}/edit", note=long, worker="Mo")  # the field shows its beginning
        order = logged.get("/v1/bench-orders/order-1").json()
        assert (order["note"], order["worker"]) == (long, "Mo")
        assert form(logged, f"{page}/delete").status_code == 303
        assert logged.get("/v1/bench-orders/order-1").status_code == 404

    @pytest.mark.parametrize(
        "path", ["wear_days/oxford", "fits/1", "wear_days/oxford%2Fsoon", "pairs/no"]
    )
    def test_an_address_of_no_record_is_not_found(self, logged, path):
        assert logged.get(f"/records/{path}").status_code == 404


READING = {"checked_on": "2026-06-10", "point": "ball", "method": "caliper", "left": "12"}


class TestQuestions:
    def test_a_reading_thicker_than_the_sole_is_asked_about_and_taken_once_confirmed(self, logged):
        reading = READING | {"unit": "mm"}
        asked = form(logged, "/pairs/derby/checks", **reading)
        assert asked.status_code == 422
        assert "Thicker than the sole was when new (5 mm)" in asked.text
        assert "12 irons is 6.3 mm" in asked.text
        assert logged.get("/v1/checks?pair_id=derby").json()["items"] == []
        assert form(logged, "/pairs/derby/checks", **reading, sure="true").status_code == 303
        assert logged.get("/v1/checks?pair_id=derby").json()["items"][0]["value_mm"] == 12

    def test_the_remedy_reads_it_as_irons(self, logged):
        reading = READING | {"left": "9", "unit": "mm"}
        assert "9 irons is 4.8 mm" in form(logged, "/pairs/derby/checks", **reading).text
        assert form(logged, "/pairs/derby/checks", **reading, sure="irons").status_code == 303
        (row,) = logged.get("/v1/checks?pair_id=derby").json()["items"]
        assert row["value_mm"] == pytest.approx(4.7625)

    def test_a_corrected_check_is_not_compared_with_itself(self, logged, logged_services):
        page = "/records/checks/oxford%2F2026-06-01%2Fleft%2Fball%2Fcaliper/edit"
        typed = {"checked_on": "2026-06-02", "foot": "left", "point": "ball"}
        typed |= {"method": "caliper", "value_mm": "4.9", "unit": "mm"}
        assert form(logged, page, **typed).status_code == 303
        page = page.replace("06-01", "06-02")
        assert form(logged, page, **typed | {"value_mm": "12"}).status_code == 422

    def test_a_sole_of_nine_millimetres_is_asked_about(self, logged):
        sole = {"material": "oak_bark_leather", "thickness": "9", "unit": "mm"}
        asked = form(logged, "/pairs/derby/fit", **sole, fitted_on="2026-06-01")
        assert asked.status_code == 422
        assert "9 irons is 4.8 mm" in asked.text
        fitted = form(logged, "/pairs/derby/fit", **sole, fitted_on="2026-06-01", sure="irons")
        assert fitted.status_code == 303
        soles = logged.get("/v1/soles?pair_id=derby").json()["items"]
        new = max(soles, key=lambda sole: sole["fitted_on"])
        assert new["nominal_thickness_mm"] == pytest.approx(4.7625)
