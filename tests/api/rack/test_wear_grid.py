"""What becomes of a month of ticks: only what changed is written, and nothing is overwritten."""

from __future__ import annotations

import random
import re
from datetime import date

import pytest

from solespan.api.services.rack.records import create, delete, replace
from tests.api.rack.test_adding import post, rows
from tests.api.rack.test_forms import token

MONTH = {"wearer": "ada", "month": "2026-11"}
FIRST = date(2026, 11, 1)
ADA = ("pair-001", "pair-002", "pair-004", "pair-005")


def shown(client, **query):
    """The form of the grid as the page gives it: every field in order, and the ticked boxes."""
    page = client.get("/log", params=MONTH | query)
    assert page.status_code == 200
    return read(page.text)


def read(text):
    form = text.partition("data-grid>")[2].partition("</form>")[0]
    fields = re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', form)
    boxes = re.findall(r'name="worn" value="([^"]+)"[^>]*?( checked)?>', form)
    return fields, {value for value, on in boxes if on}, {value for value, _ in boxes}


def save(client, fields, ticks, **more):
    token(client)
    data: dict = {}
    for name, value in [*fields, *(("worn", tick) for tick in sorted(ticks)), *more.items()]:
        data.setdefault(name, []).append(value)
    data["form_token"] = token(client)
    return client.post("/log", data=data, follow_redirects=False)


def box(fields, pair_id, day):
    pairs = [value for name, value in fields if name == "pair"]
    return f"{pairs.index(pair_id)}.{day}"


def stored(client):
    """Every wear day of November: (pair, day) and the whole row."""
    found = [row for name in ADA for row in rows(client, "wear_days", pair_id=name)]
    return {(r["pair_id"], r["worn_on"]): r for r in found if r["worn_on"] >= FIRST}


def written(client):
    return client.app.state.services.database.writing()


def test_the_grid_shows_exactly_what_is_logged(client):
    fields, ticks, _ = shown(client)
    assert {box(fields, p, d.day) for p, d in stored(client)} == ticks
    assert stored(client), "there is something to show"


def test_thirty_days_are_logged_with_one_save_and_the_same_save_again_changes_nothing(client):
    fields, ticks, boxes = shown(client)
    before = stored(client)
    free = sorted(boxes - ticks)[:30]
    answer = save(client, fields, {*ticks, *free})
    assert answer.status_code == 303
    assert "30 days logged." in client.get(answer.headers["location"]).text
    after = stored(client)
    assert len(after) == len(before) + 30
    assert {key: after[key] for key in before} == before, "no other row was touched"
    assert all((r["hours"], r["wet"]) == (None, False) for k, r in after.items() if k not in before)
    assert save(client, fields, {*ticks, *free}).status_code == 303, "as after a lost answer"
    fields, ticks, _ = shown(client)
    again = save(client, fields, ticks)
    assert "Nothing had changed." in client.get(again.headers["location"]).text
    assert stored(client) == after


@pytest.mark.parametrize("seed", range(3))
def test_whatever_is_ticked_the_stored_days_are_the_ticks(client, seed):
    rng = random.Random(seed)
    _, _, boxes = shown(client)
    for _ in range(3):
        fields, ticks, _ = shown(client)
        wanted = {b for b in boxes if (b in ticks) != (rng.random() < 0.3)}
        answer = save(client, fields, wanted)
        if answer.status_code == 422:
            answer = save(client, read(answer.text)[0], wanted, rich="delete")
        assert answer.status_code == 303
        assert {box(fields, p, d.day) for p, d in stored(client)} == wanted


@pytest.mark.parametrize("client", ["200 pairs"], indirect=True)
def test_a_page_of_boxes_that_are_all_ticked_is_saved(client):
    fields, _, boxes = shown(client)
    assert len(boxes) == 40 * 25
    assert save(client, fields, boxes).status_code == 303
    assert shown(client)[1] == boxes


def test_two_pairs_may_be_worn_on_one_day(client):
    fields, ticks, _ = shown(client)
    both = {box(fields, "pair-004", 3), box(fields, "pair-005", 3)}
    save(client, fields, ticks | both)
    assert {("pair-004", date(2026, 11, 3)), ("pair-005", date(2026, 11, 3))} <= stored(
        client
    ).keys()


def test_a_plain_day_is_deleted_and_one_that_carries_more_only_after_a_question(client):
    with written(client) as session:
        clock = client.app.state.services.clock
        base = {
            "pair_id": "pair-004",
            "steps": None,
            "surface": "pavement",
            "driving_minutes": None,
        }
        plain = base | {"worn_on": date(2026, 11, 2), "hours": None, "wet": False}
        create(session, "wear_days", plain, clock)
        rich = base | {"worn_on": date(2026, 11, 4), "hours": 10.0, "wet": True}
        create(session, "wear_days", rich, clock)
    fields, ticks, _ = shown(client)
    gone = {box(fields, "pair-004", 2), box(fields, "pair-004", 4)}
    before = stored(client)
    asked = save(client, fields, ticks - gone)
    assert asked.status_code == 422
    assert "10 h, wet" in asked.text
    assert stored(client) == before, "nothing is written before the answer"
    fields, left, _ = read(asked.text)
    assert left == ticks - gone, "what was unticked stays so"
    keep = save(client, fields, left, rich="keep")
    assert keep.status_code == 303
    assert before.keys() - stored(client).keys() == {("pair-004", date(2026, 11, 2))}
    fields, ticks, _ = shown(client)
    asked = save(client, fields, ticks - gone)
    save(client, read(asked.text)[0], ticks - gone, rich="delete")
    assert ("pair-004", date(2026, 11, 4)) not in stored(client)


def test_an_answer_about_one_day_deletes_no_other(client):
    wet = sorted(stored(client))[:2]
    with written(client) as session:
        clock = client.app.state.services.clock
        for pair_id, on in wet:
            key = {"pair_id": pair_id, "worn_on": on}
            replace(session, "wear_days", key, {"hours": 3.0}, versions=None, clock=clock)
    fields, ticks, _ = shown(client)
    (first, second) = (box(fields, pair, day.day) for pair, day in wet)
    asked = save(client, fields, ticks - {first})
    answer = save(client, read(asked.text)[0], ticks - {first, second}, rich="delete")
    assert answer.status_code == 422, "the second was not asked about"
    assert set(wet) <= stored(client).keys()


def test_a_day_that_changed_elsewhere_is_not_overwritten_and_the_page_says_so(client):
    fields, ticks, boxes = shown(client)
    (pair_id, day), row = next(iter(stored(client).items()))
    with written(client) as session:
        key = {"pair_id": pair_id, "worn_on": day}
        clock = client.app.state.services.clock
        replace(session, "wear_days", key, {"hours": 2.5}, versions=None, clock=clock)
    tick, new = box(fields, pair_id, day.day), min(boxes - ticks)
    answer = save(client, fields, {*ticks, new} - {tick})
    assert answer.status_code == 422
    assert "changed elsewhere" in answer.text
    assert stored(client)[pair_id, day]["hours"] == 2.5
    assert len(stored(client)) == len(stored(client).keys() | {(pair_id, day)})
    fields, ticks, _ = read(answer.text)
    assert {tick, new} <= ticks, "it is shown as it is now, and the other tick is kept"
    assert save(client, fields, ticks).status_code == 303
    assert stored(client)[pair_id, day]["hours"] == 2.5
    del row


def test_what_was_logged_or_deleted_elsewhere_already_is_no_quarrel(client):
    fields, ticks, _ = shown(client)
    (pair_id, day), *_ = stored(client)
    with written(client) as session:
        delete(session, "wear_days", {"pair_id": pair_id, "worn_on": day}, versions=None)
        wet = {"pair_id": "pair-004", "worn_on": date(2026, 11, 3), "hours": 9.0, "wet": True}
        whole = wet | {"steps": None, "surface": "rough", "driving_minutes": None}
        create(session, "wear_days", whole, client.app.state.services.clock)
    wanted = ticks - {box(fields, pair_id, day.day)} | {box(fields, "pair-004", 3)}
    answer = save(client, fields, wanted)
    assert "logged elsewhere" in client.get(answer.headers["location"]).text
    after = stored(client)
    assert (pair_id, day) not in after
    assert after["pair-004", date(2026, 11, 3)]["hours"] == 9.0


def test_days_ahead_and_days_without_a_sole_have_no_box_and_say_why(client):
    form = {"label": "Tan derby", "wearer": "ada", "construction": "goodyear_welted"}
    sole = {"material": "oak_bark_leather", "fitted_on": "2026-11-20"}
    where = post(client, "/add", form | sole).headers["location"]
    pair_id = where.split("/")[2].partition("?")[0]
    fields, _, boxes = shown(client)
    mine = box(fields, pair_id, 0).partition(".")[0]
    days = sorted(int(b.partition(".")[2]) for b in boxes if b.partition(".")[0] == mine)
    assert days == [20, 21, 22, 23, 24, 25]
    page = client.get("/log", params=MONTH).text
    assert "no sole before Fri 20 November" in page
    assert "still to come" in page
    for wrong in (f"{mine}.19", f"{mine}.26"):
        before = stored(client)
        assert save(client, fields, shown(client)[1] | {wrong}).status_code == 422
        assert stored(client) == before


def test_months_are_left_by_links_and_none_lies_ahead(client):
    page = client.get("/log", params=MONTH).text
    assert "month=2026-10" in page
    assert "month=2026-12" not in page
    assert "October 2026" in client.get("/log", params=MONTH | {"month": "2026-10"}).text
    for odd in ("2031-01", "nonsense", "0001-01", "9999-12", "2026-13"):
        assert "November 2026" in client.get("/log", params=MONTH | {"month": odd}).text
    assert "No pair had a sole on" in client.get("/log", params=MONTH | {"month": "2001-02"}).text


@pytest.mark.parametrize(
    "changed",
    [{"month": "soon"}, {"worn": "x"}, {"worn": "99.1"}, {"worn": "0.32"}, {"seen": "1"}],
)
def test_a_form_that_is_not_ours_changes_nothing(client, changed):
    fields, ticks, _ = shown(client)
    before = stored(client)
    (name, value), *_ = changed.items()
    fields = [*((n, v) for n, v in fields if n != name or name == "worn"), (name, value)]
    assert save(client, fields, ticks).status_code == 422
    assert stored(client) == before


def test_another_wearer_s_pair_is_not_written_through_this_grid(client):
    fields, ticks, _ = shown(client)
    theirs = [(n, "pair-000" if (n, v) == ("pair", "pair-004") else v) for n, v in fields]
    before = rows(client, "wear_days", pair_id="pair-000")
    tick = box(theirs, "pair-000", 3)
    assert save(client, theirs, {*ticks, tick}).status_code == 422
    assert rows(client, "wear_days", pair_id="pair-000") == before


def test_the_page_costs_the_same_number_of_statements_for_any_number_of_pairs(
    reading, statements_of
):
    counts = []
    for situation in ("6 pairs", "200 pairs"):
        client = reading(situation)
        with statements_of(client) as sent:
            assert client.get("/log", params=MONTH).status_code == 200
        counts.append(len(sent))
    assert counts[0] == counts[1] <= 8
    assert "page 4" in reading("200 pairs").get("/log", params=MONTH).text


class TestPace:
    def state(self, client, **paces):
        token(client)
        fields = {"pair": ["pair-001", "pair-002"], "shown": ["", "", ""]}
        pace = [paces.get(name, "") for name in ("rack", "one", "two")]
        data = MONTH | fields | {"pace": pace, "form_token": token(client)}
        return client.post("/log/pace", data=data, follow_redirects=False)

    def pace(self, client, name, **key):
        return rows(client, name, **key)[0]["wears_per_week"]

    def test_a_pace_is_stated_for_a_pair_and_for_the_rack(self, client):
        assert self.state(client, rack="5", one="1,5").status_code == 303
        assert self.pace(client, "wearers", wearer_id="ada") == 5
        assert self.pace(client, "pairs", pair_id="pair-001") == 1.5
        assert self.pace(client, "pairs", pair_id="pair-002") is None
        assert self.state(client, rack="5", one="1,5").status_code == 303, "again"

    @pytest.mark.parametrize("typed", ["often", "8", "-1", "nan"])
    def test_what_is_no_pace_changes_nothing(self, client, typed):
        answer = self.state(client, rack="5", one=typed)
        assert answer.status_code == 422
        assert f'value="{typed}" aria-invalid="true"' in answer.text.replace("\n", "")
        assert 'id="p-pair-001-problem"' in answer.text
        assert self.pace(client, "wearers", wearer_id="ada") is None

    def test_a_pace_changed_elsewhere_is_not_overwritten(self, client):
        self.state(client, one="3")
        answer = self.state(client, one="2")
        assert answer.status_code == 422
        assert "changed elsewhere" in answer.text
        assert self.pace(client, "pairs", pair_id="pair-001") == 3

    def test_the_page_says_what_a_pace_does(self, reading):
        page = reading("6 pairs").get("/log", params=MONTH).text
        assert "follow the log and not a stated pace" in page


def test_yesterday_is_one_tap(client):
    page = client.get("/", params={"wearer": "ada"}).text
    part = page.partition("Worn yesterday")[2].partition("</section>")[0]
    pair_id = re.search(r'form="wear-yesterday" name="pair" value="([^"]+)"', part)[1]
    post(client, "/wear", {"pair": pair_id, "day": "yesterday"})
    assert date(2026, 11, 24) in {r["worn_on"] for r in rows(client, "wear_days", pair_id=pair_id)}
    again = client.get("/", params={"wearer": "ada"}).text
    assert "Worn yesterday: " in again
    assert 'form="wear-yesterday" name' not in again
