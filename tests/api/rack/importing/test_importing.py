"""What becomes of files that are handed in by the form, and of the example rack."""

import csv
import io
import zipfile

import pytest

from solespan.api.services.importing import import_desk
from solespan.api.storage.rack.records import list_records
from tests.api.rack.test_adding import post, rows
from tests.api.rack.test_forms import token

GOOD = {
    "pairs.csv": "pair_id,wearer_id,construction\nnew-1,cy,blake\nnew-2,cy,blake\n",
    "soles.csv": "sole_id,pair_id,fitted_on,material,nominal_thickness_mm\n"
    "s-1,new-1,2026-01-02,rubber,5\ns-2,new-2,2026-01-02,rubber,5\n",
}
BAD = GOOD | {"wear_days.csv": "pair_id,worn_on,hours\nnew-1,2026-02-01,8\nnew-2,2026-02-01,99\n"}


@pytest.fixture(autouse=True)
def own_desk(monkeypatch, tmp_path):
    monkeypatch.setattr(import_desk.tempfile, "gettempdir", lambda: str(tmp_path))


def send(client, files):
    parts = [("files", (name, text.encode(), "text/csv")) for name, text in files.items()]
    data = {"form_token": token(client)}
    return client.post("/import", data=data, files=parts, follow_redirects=False)


def ids(client):
    return {row["pair_id"] for row in rows(client, "pairs")}


def test_nothing_changes_before_the_reader_says_so(client):
    before = ids(client)
    waiting = send(client, GOOD).headers["location"]
    page = client.get(waiting).text
    assert "Nothing was changed yet" in page
    assert ids(client) == before
    answer = post(client, waiting, {"decision": "all"})
    assert answer.status_code == 303
    assert ids(client) == before | {"new-1", "new-2"}
    assert "Taken: 4 new" in client.get(waiting).text


def test_rows_in_doubt_are_named_by_file_line_and_column_with_what_is_accepted(client):
    waiting = send(client, BAD).headers["location"]
    page = client.get(waiting).text
    assert "wear_days.csv, line 3, hours" in page
    assert "99" in page
    assert "24" in page
    read = csv.DictReader(io.StringIO(client.get(f"{waiting}/report.csv").text))
    (refused,) = [row for row in read if row["severity"] == "refused"]
    assert (refused["file"], refused["line"], refused["column"]) == ("wear_days.csv", "3", "hours")


def test_the_good_rows_can_be_taken_without_the_others(client):
    waiting = send(client, BAD).headers["location"]
    assert post(client, waiting, {"decision": "all"}).status_code == 303
    assert "new-1" not in ids(client), "all or nothing means nothing"
    post(client, waiting, {"decision": "good"})
    assert {"new-1", "new-2"} <= ids(client)
    with client.app.state.services.database.reading() as session:
        worn = list_records(session, "wear_days", equal={"pair_id": "new-2"}, limit=5)
    assert worn == []


def test_files_that_are_left_are_thrown_away(client):
    waiting = send(client, GOOD).headers["location"]
    assert post(client, waiting, {"decision": "leave"}).headers["location"] == "/import?done=left"
    assert client.get(waiting).status_code == 404
    assert "new-1" not in ids(client)


def test_another_browser_cannot_see_or_take_what_waits(client):
    waiting = send(client, GOOD).headers["location"]
    client.cookies.clear()
    token(client)
    assert client.get(waiting).status_code == 404
    assert post(client, waiting, {"decision": "all"}).status_code == 404
    assert "new-1" not in ids(client)


def test_files_wait_for_an_hour(client, monkeypatch):
    waiting = send(client, GOOD).headers["location"]
    later = import_desk.time.time() + import_desk.KEPT_S + 1
    monkeypatch.setattr(import_desk.time, "time", lambda: later)
    send(client, GOOD)
    assert client.get(waiting).status_code == 404


def test_a_folder_that_somebody_else_put_there_is_not_used(client, tmp_path):
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    import_desk._root().symlink_to(elsewhere)
    answer = send(client, GOOD)
    assert answer.status_code == 422
    assert "another user" in answer.text
    assert list(elsewhere.iterdir()) == []


def test_one_zip_does_as_well_as_files(client):
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        for name, text in GOOD.items():
            archive.writestr(f"logs/{name}", text)
    data = {"form_token": token(client)}
    files = [("files", ("logs.zip", packed.getvalue(), "application/zip"))]
    answer = client.post("/import", data=data, files=files, follow_redirects=False)
    assert "4 rows read" in client.get(answer.headers["location"]).text


@pytest.mark.parametrize(
    ("files", "words"),
    [
        ({}, "No file was chosen"),
        ({"shoes.csv": ""}, "The file is empty"),
        ({"pairs.csv": GOOD["pairs.csv"]}, "soles.csv is missing"),
        ({"../../pairs.csv": "", "soles.csv": GOOD["soles.csv"]}, "pairs.csv"),
    ],
)
def test_files_that_cannot_be_read_are_explained_on_the_page(client, files, words):
    answer = send(client, files)
    assert answer.status_code == 422
    assert words in answer.text


def test_a_form_without_this_browser_s_token_is_refused(client):
    files = [("files", ("pairs.csv", b"x", "text/csv"))]
    assert client.post("/import", data={"form_token": "guessed"}, files=files).status_code == 422


def test_the_example_comes_and_goes_and_takes_only_itself_along(client):
    before = ids(client)
    assert post(client, "/example", {}).headers["location"] == "/?done=example"
    brought = ids(client) - before
    assert len(brought) > 5
    assert all(pair_id.startswith("C-") for pair_id in brought)
    assert "Remove the example rack" in client.get("/import").text
    assert post(client, "/example", {}).status_code == 409, "it is there already"
    post(client, "/example", {"decision": "remove"})
    assert ids(client) == before
    assert {row["wearer_id"] for row in rows(client, "wearers")} == {"ada", "bo"}
    post(client, "/example", {"decision": "remove"})
    assert ids(client) == before, "nothing is left to remove"


def test_a_pair_that_its_owner_gave_the_example_s_wearer_stays(client):
    post(client, "/example", {})
    (wearer,) = [r["wearer_id"] for r in rows(client, "wearers") if r["wearer_id"][:2] == "C-"]
    form = {"label": "mine", "wearer": wearer, "construction": "blake", "material": "rubber"}
    post(client, "/add", form | {"fitted_on": "2026-11-20"})
    post(client, "/example", {"decision": "remove"})
    assert "mine" in {row["label"] for row in rows(client, "pairs")}


def test_what_only_looks_like_the_example_is_never_removed(client):
    form = {"label": "mine", "wearer": "ada", "construction": "blake", "material": "rubber"}
    post(client, "/add", form | {"fitted_on": "2026-11-20"})
    before = ids(client)
    post(client, "/example", {"decision": "remove"})
    assert ids(client) == before
