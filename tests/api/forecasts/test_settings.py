"""May a shop choose its risk and its bands, and do stored forecasts follow?"""

from __future__ import annotations

import re
from datetime import date

import pytest
from typer.testing import CliRunner

from solespan.api.cli.main import build_app


def row_of(client, pair_id: str) -> dict:
    rows = client.get(f"/v1/forecasts/{pair_id}").json()["rows"]
    return next(r for r in rows if (r["foot"], r["point"]) == ("pair", "ball"))


def send(client, **fields: str):
    page = client.get("/settings/bands").text
    hidden = dict(re.findall(r'type="hidden" name="([^"]+)" value="([^"]*)"', page))
    return client.post("/settings/bands", data=hidden | fields, follow_redirects=False)


def test_bands_and_dates_follow_what_the_shop_chooses(fitted, fitted_services):
    before = row_of(fitted, "oxford")
    chances = {"sound_chance": "0,0001", "stop_chance": "99", "risk": "2,5"}
    assert send(fitted, **chances, sound_days="3653", book_in_days="0").status_code == 303
    assert row_of(fitted, "oxford") == before, "forecasts follow at their next update"
    assert fitted_services.forecaster.update_behind() == 2
    after = row_of(fitted, "oxford")
    assert after["send_by"] < before["send_by"], "less risk, an earlier day"
    assert {row_of(fitted, pair)["band"] for pair in ("oxford", "derby")} == {"watch"}
    assert "2.5" in fitted.get("/settings/bands").text
    assert fitted_services.forecaster.update_behind() == 0, "once"
    send(fitted)
    assert fitted_services.forecaster.update_behind() == 2
    again = row_of(fitted, "oxford")
    assert (again["send_by"], again["band"]) == (before["send_by"], before["band"])


def test_a_wear_day_is_followed_with_the_new_settings_at_once(fitted):
    before = row_of(fitted, "oxford")
    send(fitted, risk="2,5")
    fitted.post("/v1/wear-days", json={"pair_id": "oxford", "worn_on": "2026-06-14"})
    days = [date.fromisoformat(row["send_by"]) for row in (before, row_of(fitted, "oxford"))]
    assert days[1] < days[0]


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("risk", "0", "over 0 and under 100"),
        ("stop_chance", "100", "over 0 and under 100"),
        ("sound_chance", "few", "over 0 and under 100"),
        ("sound_days", "1.5", "a whole number from 0 to 3653 days"),
    ],
)
def test_a_setting_that_cannot_be_is_told_beside_its_field(fitted, field, value, said):
    answer = send(fitted, **{field: value})
    assert answer.status_code == 422
    problem = re.search(rf'id="b-{field}-problem">([^<]+)<', answer.text)
    assert problem
    assert said in problem[1]
    assert f'value="{value}"' in answer.text
    assert fitted.get("/v1/settings/forecast").json()["version"] == 0, "nothing was kept"


def test_settings_that_someone_else_changed_are_not_overwritten(fitted):
    send(fitted, risk="5")
    assert "Default 10" not in fitted.get("/settings/bands").text


def test_the_terminal_keeps_a_choice_and_takes_it_back(fitted, fitted_services, monkeypatch):
    monkeypatch.setenv("SOLESPAN_DATABASE_URL", fitted_services.settings.database_url)

    def run(*arguments: str):
        return CliRunner().invoke(build_app(), ["forecast", *arguments], catch_exceptions=True)

    told = run("--set", "risk=0.025", "--set", "stop_chance=0.9", "--wearer", "ada")
    assert "Kept: risk=0.025, stop_chance=0.9." in told.output
    assert 'name="stop_chance" type="text" value="90"' in fitted.get("/settings/bands").text
    run("--set", "stop_chance=", "--wearer", "ada")
    page = fitted.get("/settings/bands").text
    assert 'name="stop_chance" type="text" value="50"' in page
    assert 'name="risk" type="text" value="2.5"' in page
    assert run("--set", "fear=1").exit_code == 1
