"""Do new customers inherit the time zone of their shop, by each way in which they come?"""

from __future__ import annotations

import io
import re

from solespan.api.services.importing.imports import import_files
from tests.api.rack.test_adding import post, rows

FILES = {
    "wearers.csv": b"wearer_id,name,time_zone\neve,Eve,\nfay,Fay,Asia/Tokyo\n",
    "pairs.csv": b"pair_id,wearer_id,construction\np1,eve,blake\np2,gus,blake\n",
    "soles.csv": b"sole_id,pair_id,fitted_on,material,nominal_thickness_mm\n",
}


def hidden_of(client):
    page = client.get("/settings/shop").text
    return dict(re.findall(r'type="hidden" name="([^"]+)" value="([^"]*)"', page))


def set_zone(client, zone):
    return post(client, "/settings/shop", hidden_of(client) | {"time_zone": zone})


def zones(client):
    return {row["wearer_id"]: row["time_zone"] for row in rows(client, "wearers")}


def test_new_customers_inherit_the_time_zone_of_the_shop_and_others_keep_theirs(client):
    before = zones(client)
    assert set_zone(client, "Europe/Vienna").status_code == 303
    assert 'value="Europe/Vienna"' in client.get("/settings/shop").text
    database = client.app.state.services.database
    streams = {name: io.BytesIO(data) for name, data in FILES.items()}
    import_files(database, streams, source="a test", today=client.app.state.services.clock.today)
    client.post("/v1/wearers", json={"wearer_id": "hal"})
    client.post("/v1/wearers", json={"wearer_id": "ian", "time_zone": "UTC"})
    came = {"eve": "Europe/Vienna", "fay": "Asia/Tokyo", "gus": "Europe/Vienna"}
    assert zones(client) == before | came | {"hal": "Europe/Vienna", "ian": "UTC"}


def test_without_a_choice_of_the_shop_customers_live_in_utc(client):
    client.post("/v1/wearers", json={"wearer_id": "hal"})
    assert zones(client)["hal"] == "UTC"


def test_a_name_that_is_no_time_zone_is_refused_by_the_field(client):
    answer = set_zone(client, "Vienna")
    assert answer.status_code == 422
    assert "give an IANA name, such as Europe/Vienna" in answer.text
