"""What becomes of a pair that forms add, change, send, receive back, retire and delete."""

import re

import pytest

from solespan.api.storage.rack.records import list_records
from tests.api.rack.test_forms import token

NEW = {
    "label": "Tan derby",
    "wearer": "ada",
    "construction": "goodyear_welted",
    "material": "oak_bark_leather",
    "fitted_on": "2026-11-20",
}


def rows(client, name, **equal):
    with client.app.state.services.database.reading() as session:
        return list_records(session, name, equal=equal, limit=500)


def post(client, to, form, **headers):
    data = {"form_token": token(client), **form}
    return client.post(to, data=data, headers=headers, follow_redirects=False)


def add(client, **changed):
    return post(client, "/add", NEW | changed)


def problems(answer):
    return dict(re.findall(r'<p class="problem" id="(\S+)-problem">([^<]+)</p>', answer.text))


@pytest.fixture
def added(client):
    """The address of a pair that was added by the form."""
    return add(client).headers["location"].partition("?")[0]


class TestAdding:
    def test_a_name_is_enough_and_the_rest_takes_the_usual_values(self, client):
        answer = add(client)
        assert answer.status_code == 303
        pair_id = answer.headers["location"].split("/")[2].partition("?")[0]
        (sole,) = rows(client, "soles", pair_id=pair_id)
        assert sole["nominal_thickness_mm"] == 5.0, "usual for this leather: common practice"
        assert sole["limit_mm"] is None, "the default of its material holds"
        page = client.get(answer.headers["location"]).text
        assert "Tan derby" in page
        assert "The pair is added" in page

    def test_boot_constructions_get_a_boot_s_sole(self, client):
        added = add(client, construction="norwegian").headers["location"]
        (sole,) = rows(client, "soles", pair_id=added.split("/")[2].partition("?")[0])
        assert sole["nominal_thickness_mm"] == 6.4

    @pytest.mark.parametrize(("kind", "mm"), [("women", 3.5), ("boots", 6.0), ("", 5.0)])
    def test_the_kind_of_a_pair_sets_the_usual_thickness(self, client, kind, mm):
        added = add(client, kind=kind).headers["location"].partition("?")[0]
        (sole,) = rows(client, "soles", pair_id=added.split("/")[2])
        assert sole["nominal_thickness_mm"] == mm
        (pair,) = rows(client, "pairs", pair_id=added.split("/")[2])
        assert pair["kind"] == (kind or None)
        fitted = {"material": "rubber", "fitted_on": "2026-11-25"}
        assert post(client, f"{added}/fit", fitted).status_code == 303
        last = max(rows(client, "soles", pair_id=added.split("/")[2]), key=lambda s: s["fitted_on"])
        assert last["nominal_thickness_mm"] == {"women": 3.5, "boots": 6.5}.get(kind, 5.0)

    def test_irons_become_millimetres(self, client):
        """9 iron = 9/48 in = 4.7625 mm (ASTM D1814)."""
        added = add(client, thickness="9", unit="iron").headers["location"]
        (sole,) = rows(client, "soles", pair_id=added.split("/")[2].partition("?")[0])
        assert sole["nominal_thickness_mm"] == pytest.approx(4.7625, abs=1e-4)

    def test_the_first_wearer_is_made_on_the_fly(self, client):
        answer = add(client, wearer="new", wearer_name="Cy", time_zone="Europe/Vienna")
        assert answer.status_code == 303
        (cy,) = [row for row in rows(client, "wearers") if row["name"] == "Cy"]
        assert cy["time_zone"] == "Europe/Vienna"

    def test_a_pace_may_be_stated_of_the_pair_and_of_a_new_rack(self, client):
        new = {"wearer": "new", "wearer_name": "Cy", "rack_wears_per_week": "5"}
        pair_id = add(client, wears_per_week="1,5", **new).headers["location"].split("/")[2]
        (pair,) = rows(client, "pairs", pair_id=pair_id.partition("?")[0])
        (cy,) = [row for row in rows(client, "wearers") if row["name"] == "Cy"]
        assert (pair["wears_per_week"], cy["wears_per_week"]) == (1.5, 5)
        assert add(client).status_code == 303, "nobody has to"

    def test_a_new_pair_with_a_sole_never_asks_for_its_sole(self, client):
        page = client.get(add(client).headers["location"]).text
        assert "is being computed" in page
        assert "needs a sole" not in page
        client.app.state.services.fitter.refit()
        client.app.state.services.forecaster.update_behind()
        location = add(client, label="Black derby").headers["location"]
        assert "New sole due" in client.get(location).text, "with a fit it is forecast at once"

    def test_changing_a_pair_keeps_its_owners_word_and_pace(self, client, added):
        post(client, f"{added}/in-use", {})
        assert post(client, f"{added}/edit", NEW | {"wears_per_week": "2"}).status_code == 303
        (pair,) = rows(client, "pairs", pair_id=added.split("/")[2])
        assert (str(pair["in_use_on"]), pair["wears_per_week"]) == ("2026-11-25", 2)
        page = client.get(added).text
        assert "worn about twice a week, as its owner says" in page

    def test_a_price_is_kept_in_minor_units(self, client):
        add(client, price="379,50", currency="EUR")
        (pair,) = [row for row in rows(client, "pairs") if row["label"] == "Tan derby"]
        assert (pair["price_minor"], pair["currency"]) == (37950, "EUR")

    @pytest.mark.parametrize(
        ("changed", "field", "words"),
        [
            ({"label": " "}, "a-label", "give it a name"),
            ({"wearer": "new", "wearer_name": ""}, "a-wearer_name", "who wears it"),
            ({"thickness": "x"}, "a-thickness", "number"),
            ({"thickness": "1e999", "unit": "iron"}, "a-thickness", "number"),
            ({"thickness": "1.1"}, "a-thickness", "limit"),
            ({"limit": "6"}, "a-limit", "under the new sole"),
            ({"fitted_on": "2027-02-01"}, "a-fitted_on", "future"),
            ({"fitted_on": "soon"}, "a-fitted_on", "YYYY-MM-DD"),
            ({"price": "dear"}, "a-price", "amount"),
            ({"construction": "glued"}, "a-construction", "goodyear_welted"),
            ({"wears_per_week": "8"}, "a-wears_per_week", "from 0 to 7"),
            (
                {"wearer": "new", "wearer_name": "Cy", "rack_wears_per_week": "often"},
                "a-rack_wears_per_week",
                "number",
            ),
        ],
    )
    def test_what_is_wrong_stands_beside_its_field_and_nothing_is_added(
        self, reading, changed, field, words
    ):
        client = reading("6 pairs")
        before = len(rows(client, "pairs")), len(rows(client, "wearers"))
        answer = add(client, **changed)
        assert answer.status_code == 422
        assert words in problems(answer)[field]
        assert 'value="2026-11-20"' in answer.text or "fitted_on" in changed
        assert (len(rows(client, "pairs")), len(rows(client, "wearers"))) == before

    def test_the_same_attempt_twice_adds_one_pair(self, client):
        key = {"idempotency-key": '"one attempt"'}
        first, again = (post(client, "/add", NEW, **key) for _ in range(2))
        assert first.headers["location"] == again.headers["location"]
        assert len([row for row in rows(client, "pairs") if row["label"] == "Tan derby"]) == 1

    def test_a_foreign_form_adds_nothing(self, client):
        client.get("/add")
        answer = client.post("/add", data=NEW | {"form_token": "guessed"})
        assert answer.status_code == 422
        assert len(rows(client, "pairs")) == 6


class TestLife:
    def test_a_pair_goes_to_the_shop_and_comes_back_with_a_new_sole(self, client, added):
        pair_id = added.split("/")[2]
        sent = post(client, f"{added}/send", {"work": "full_sole", "received_on": "2026-11-22"})
        assert sent.headers["location"].startswith(f"{added}?done=sent&undo=")
        assert "It is back" in client.get(f"{added}/sole").text
        back = {"returned_on": "2026-11-25", "material": "rubber", "thickness": "5", "unit": "mm"}
        assert post(client, f"{added}/back", back).status_code == 303
        old, new = sorted(rows(client, "soles", pair_id=pair_id), key=lambda s: s["fitted_on"])
        assert old["removed_on"] == new["fitted_on"]
        assert (new["material"], new["removed_on"]) == ("rubber", None)
        (job,) = rows(client, "bench_jobs", pair_id=pair_id)
        assert job["returned_on"] == new["fitted_on"]

    def test_it_may_come_back_without_a_new_sole(self, client, added):
        post(client, f"{added}/send", {"work": "full_sole", "received_on": "2026-11-22"})
        back = {"returned_on": "2026-11-25", "material": "rubber", "keep_sole": "true"}
        assert post(client, f"{added}/back", back).status_code == 303
        assert len(rows(client, "soles", pair_id=added.split("/")[2])) == 1

    def test_what_is_away_cannot_be_sent_again_nor_what_is_here_received(self, client, added):
        assert post(client, f"{added}/back", {"returned_on": "2026-11-25"}).status_code == 422
        send = {"work": "top_piece", "received_on": "2026-11-22"}
        assert post(client, f"{added}/send", send).status_code == 303
        again = post(client, f"{added}/send", send)
        assert again.status_code == 422
        assert "away already" in again.text
        assert len(rows(client, "bench_jobs", pair_id=added.split("/")[2])) == 1

    def test_it_cannot_come_back_before_it_was_sent(self, client, added):
        post(client, f"{added}/send", {"work": "top_piece", "received_on": "2026-11-24"})
        answer = post(client, f"{added}/back", {"returned_on": "2026-11-22"})
        assert answer.status_code == 422
        assert "before received_on" in problems(answer)["b-returned_on"]

    def test_a_sole_is_ended_and_a_new_one_fitted(self, client, added):
        assert post(client, f"{added}/end", {"removed_on": "2026-11-23"}).status_code == 303
        assert post(client, f"{added}/end", {"removed_on": "2026-11-24"}).status_code == 422
        fit = {"material": "crepe", "fitted_on": "2026-11-24"}
        assert post(client, f"{added}/fit", fit).status_code == 303
        page = client.get(added).text
        assert "Crepe, 8.0 mm when new" in page
        assert "taken off 23 Nov 2026" in page

    def test_a_pair_is_changed_with_its_sole_and_upper(self, client, added):
        page = client.get(f"{added}/edit").text
        assert 'value="Tan derby"' in page
        changed = NEW | {"label": "Brown derby", "thickness": "4.5", "limit": "2", "upper": "suede"}
        assert post(client, f"{added}/edit", changed).status_code == 303
        pair_id = added.split("/")[2]
        assert rows(client, "pairs", pair_id=pair_id)[0]["label"] == "Brown derby"
        assert rows(client, "soles", pair_id=pair_id)[0]["limit_mm"] == 2.0
        assert re.search(r'value="suede" selected', client.get(f"{added}/edit").text)

    def test_a_pair_is_deleted_only_when_the_box_is_ticked(self, client, added):
        assert post(client, f"{added}/delete", {}).status_code == 422
        assert client.get(added).status_code == 200
        assert post(client, f"{added}/delete", {"sure": "true"}).status_code == 303
        assert client.get(added).status_code == 404

    @pytest.mark.parametrize("page", ["edit", "sole", "thumb", "upkeep"])
    def test_every_page_below_an_unknown_pair_says_that_it_is_not_there(self, reading, page):
        answer = reading("6 pairs").get(f"/pairs/nobody/{page}")
        assert answer.status_code == 404
        assert "There is no pair" in answer.text
        assert "Did you mean" not in answer.text, "nothing like it is there"
