"""Do lugs have two readings, and does the sole below a guard carry on once the guard is off?"""

from __future__ import annotations

import pandas as pd
import pytest

from solespan.api.services.rack.pair_forms import values_of_pair
from solespan.api.storage.forecasts.forecast_reads import forecast_of_pair
from solespan.forecast.layers.carriers import count_resoles
from tests.api.rack.test_adding import add, post, rows

DAY = "2026-11-24"


@pytest.fixture
def boot(client) -> str:
    """The address of a pair on a lug unit."""
    worn = {"material": "lug_rubber", "thickness": "8", "fitted_on": "2025-03-01"}
    return add(client, **worn).headers["location"].partition("?")[0]


def read(client, address: str, **fields: str):
    form = {"checked_on": DAY, "point": "ball", "method": "caliper", "unit": "mm"}
    return post(client, f"{address}/checks", form | fields)


def test_the_page_asks_for_lugs_where_there_are_some_and_keeps_both_readings(client, boot):
    assert 'name="lug_left"' in client.get(boot).text
    assert 'name="lug_left"' not in client.get("/pairs/pair-000").text
    assert read(client, boot, left="7,1", lug_left="1,6", right="7.0").status_code == 303
    kept = {one["foot"]: one for one in rows(client, "checks", pair_id=boot.split("/")[2])}
    assert (kept["left"]["value_mm"], kept["left"]["lug_mm"]) == (7.1, 1.6)
    assert kept["right"]["lug_mm"] is None


def test_lugs_higher_than_the_whole_are_refused_beside_their_field(client, boot):
    answer = read(client, boot, left="2", lug_left="3")
    assert answer.status_code == 422
    assert "lugs" in answer.text
    assert not rows(client, "checks", pair_id=boot.split("/")[2])
    body = {
        "pair_id": boot.split("/")[2],
        "checked_on": DAY,
        "foot": "left",
        "point": "ball",
        "method": "thumb",
        "grade": "give",
        "lug_mm": 1.0,
    }
    assert client.post("/v1/checks", json=body).status_code == 422


def test_lugs_worn_flat_are_quoted_a_new_unit_and_are_not_sound(client, boot):
    """Low lugs of a thick base: 6.8 mm below 1.0 mm of lugs, so grip goes at 7.8 mm."""
    pair_id = boot.split("/")[2]
    services = client.app.state.services
    services.fitter.refit()
    services.forecaster.update_behind(everyone=True)
    thick = {"left": "7.8", "right": "7.8"}
    assert read(client, boot, **thick).status_code == 303
    before = client.get(f"/v1/quotes/{pair_id}").json()
    lugs = {"lug_left": "1.0", "lug_right": "1.0", "replace": "true"}
    assert read(client, boot, **thick, **lugs).status_code == 303
    after = client.get(f"/v1/quotes/{pair_id}").json()
    assert (before["needed"], before["layers"][-3]["limit_mm"]) == ([], 5.0)
    assert [one["work"] for one in after["needed"]] == ["full_sole"]
    assert after["layers"][-3]["limit_mm"] == pytest.approx(7.8)
    with services.database.reading() as session:
        bands = {r["band"] for r in forecast_of_pair(session, pair_id) if r["foot"] == "pair"}
    assert "sound" not in bands


def test_a_guard_comes_off_alone_and_the_sole_below_carries_on(client):
    address = add(client, fitted_on="2025-01-01").headers["location"].partition("?")[0]
    pair_id = address.split("/")[2]
    look = {"pair_id": pair_id, "checked_on": "2025-06-01", "foot": "left", "point": "ball"}
    looked = client.post("/v1/checks", json=look | {"method": "caliper", "value_mm": 4.2})
    assert looked.status_code == 201, looked.text
    off = {"removed_on": DAY, "guard_only": "true"}
    assert "No guard is on" in post(client, f"{address}/end", off).text
    guard = {"material": "rubber", "thickness": "1.8", "cover": "guard", "fitted_on": "2025-07-01"}
    assert post(client, f"{address}/fit", guard).status_code == 303
    assert "Take the guard off" in client.get(f"{address}/sole").text
    assert post(client, f"{address}/end", off).status_code == 303
    soles = sorted(rows(client, "soles", pair_id=pair_id), key=lambda s: s["fitted_on"])
    first, _, last = soles
    assert (last["material"], last["nominal_thickness_mm"]) == ("oak_bark_leather", 4.2)
    assert (last["limit_mm"], last["assumed"]) == (2.0, False), "the limit of 5 mm when new"
    assert (last["continues"], last["removed_on"]) == (first["sole_id"], None)
    assert "Take the guard off" not in client.get(f"{address}/sole").text
    assert count_resoles(pd.DataFrame(soles), None) == 0, "nobody fitted a new sole"
    edited = post(client, f"{address}/edit", sole_fields(client, pair_id))
    assert edited.status_code == 303, edited.text
    (kept,) = [s for s in rows(client, "soles", pair_id=pair_id) if s["removed_on"] is None]
    assert kept["continues"] == first["sole_id"], "another change keeps what it carries on"


def sole_fields(client, pair_id: str) -> dict[str, str]:
    with client.app.state.services.database.reading() as session:
        return values_of_pair(session, pair_id) | {"label": "Brown derby"}
