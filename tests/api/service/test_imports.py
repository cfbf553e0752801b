"""Are uploaded files imported like a folder, and are odd, huge and hostile ones refused?"""

from __future__ import annotations

import io
import json
import random
import zipfile

import pytest

from solespan.api.services.importing.uploads import MAX_ZIP_ENTRIES
from tests.api.importing.workbooks import text, xlsx
from tests.api.importing.workbooks import zipped as pack

PAIRS = b"pair_id,wearer_id,construction\nslipper,dora,stitchdown\n"
SOLES = (
    b"sole_id,pair_id,fitted_on,material,nominal_thickness_mm\n"
    b"slipper-1,slipper,2026-01-01,rubber,6\n"
)
DAYS = b"pair_id,worn_on\nslipper,2026-02-01\nslipper,2026-02-02\n"
FUTURE = b"pair_id,worn_on\nslipper,2026-02-01\nslipper,2027-02-02\n"


def send(client, *files, **more):
    return client.post("/v1/imports", files=[("files", f) for f in files], **more)


def zipped(entries, **how):
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in entries.items():
            archive.writestr(name, content, **how)
    return ("rack.zip", packed.getvalue())


@pytest.mark.parametrize("as_zip", [False, True])
def test_files_and_a_zip_of_them_give_the_same_rows(client, as_zip):
    files = {"pairs.csv": PAIRS, "soles.csv": SOLES, "wear_days.csv": DAYS}
    answer = send(client, zipped(files)) if as_zip else send(client, *files.items())
    assert answer.status_code == 201, answer.text
    report = answer.json()["report"]
    assert report["written"]
    assert report["counts"]["wear_days"]["new"] == 2
    assert len(client.get("/v1/wear-days").json()["items"]) == 2


def test_the_report_is_kept_and_listed(client):
    made = send(client, ("pairs.csv", PAIRS), ("soles.csv", SOLES))
    kept = client.get(made.headers["location"]).json()
    assert kept["report"] == made.json()["report"]
    (item,) = client.get("/v1/imports").json()["items"]
    assert item["import_id"] == made.json()["import_id"]
    assert client.get("/v1/imports/nobody").status_code == 404


def test_importing_twice_changes_nothing(client):
    files = (("pairs.csv", PAIRS), ("soles.csv", SOLES), ("wear_days.csv", DAYS))
    send(client, *files)
    again = send(client, *files)
    assert again.status_code == 201
    assert again.json()["import_id"] is None
    assert again.json()["report"]["counts"]["wear_days"]["unchanged"] == 2


def test_one_refused_row_refuses_all_and_names_the_row(client):
    answer = send(client, ("pairs.csv", PAIRS), ("soles.csv", SOLES), ("wear_days.csv", FUTURE))
    assert (answer.status_code, answer.json()["type"]) == (422, "/problems/import-refused")
    (row,) = [r for r in answer.json()["report"]["rows"] if r["severity"] == "refused"]
    assert (row["file"], row["line"], row["column"]) == ("wear_days.csv", 3, "worn_on")
    assert client.get("/v1/pairs").json()["items"] == []


def test_good_rows_are_kept_when_asked(client):
    answer = send(
        client,
        ("pairs.csv", PAIRS),
        ("soles.csv", SOLES),
        ("wear_days.csv", FUTURE),
        data={"keep_good_rows": "true"},
    )
    assert answer.status_code == 201
    assert len(client.get("/v1/wear-days").json()["items"]) == 1


def test_an_import_makes_forecasts_pending_until_the_next_round(client, services):
    send(client, ("pairs.csv", PAIRS), ("soles.csv", SOLES))
    services.refitter.once()
    assert client.get("/v1/forecasts/slipper").json()["state"] == "ready"


def test_the_same_key_replays_the_report(client):
    files = (("pairs.csv", PAIRS), ("soles.csv", SOLES))
    first, again = (send(client, *files, headers={"idempotency-key": '"i"'}) for _ in range(2))
    assert (again.status_code, again.json()) == (201, first.json())
    other = send(client, ("pairs.csv", PAIRS), headers={"idempotency-key": '"i"'})
    assert other.status_code == 422


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("notes.txt", b"x"),
        ("../../etc/passwd", b"x"),
        ("pairs.csv.exe", b"x"),
        ("broken.zip", b"PK\x03\x04 and then nothing"),
        ("", PAIRS),
    ],
)
def test_files_without_a_table_are_refused(client, name, content):
    answer = send(client, (name, content))
    assert answer.status_code in (400, 422), answer.text
    assert answer.headers["content-type"] == "application/problem+json"


@pytest.mark.parametrize("name", ["pairs", "my pairs.txt"])
def test_a_table_is_known_by_its_headings_whatever_the_file_is_called(client, name):
    answer = send(client, (name, PAIRS))
    assert answer.status_code == 201, answer.text
    assert [row["pair_id"] for row in client.get("/v1/pairs").json()["items"]] == ["slipper"]


def test_only_the_last_part_of_a_name_counts(client):
    answer = send(client, zipped({"a/b/../pairs.csv": PAIRS, "C:\\x\\SOLES.CSV": SOLES}))
    assert answer.status_code == 201, answer.text


@pytest.mark.parametrize(
    "entries",
    [
        {"pairs.csv": PAIRS, "other/pairs.csv": PAIRS},
        {f"{n}/x.csv": b"" for n in range(MAX_ZIP_ENTRIES + 1)},
        {"pairs.zip": b"PK\x03\x04"},
    ],
)
def test_a_zip_of_doubles_of_too_many_or_of_zips_is_refused(client, entries):
    assert send(client, zipped(entries)).status_code == 422


def test_a_zip_that_unpacks_to_too_much_is_refused_while_unpacking(client, services, monkeypatch):
    small = services.settings.model_copy(update={"upload_limit_bytes": 100_000})
    monkeypatch.setattr(type(services), "settings", small, raising=False)
    object.__setattr__(services, "settings", small)
    bomb = zipped({"pairs.csv": PAIRS + b"\n" * 50_000_000})
    assert len(bomb[1]) < 60_000
    answer = send(client, bomb)
    assert (answer.status_code, answer.json()["type"]) == (413, "/problems/too-large")


def test_an_upload_that_says_it_is_too_large_is_refused_unread(client):
    answer = client.post("/v1/imports", headers={"content-length": str(10**12)}, content=b"x")
    assert answer.status_code == 413


def test_no_files_at_all_is_refused(client):
    assert client.post("/v1/imports").status_code in (400, 422)


LOG = b"Date,Shoe,Hours\n03/04/2026,Derby,8\n05/06/2026,Derby,7.5\n"
SHEET = ("log.csv", LOG)


def test_an_open_question_is_a_problem_that_names_its_choices(client):
    answer = send(client, SHEET)
    assert (answer.status_code, answer.json()["type"]) == (422, "/problems/import-questions")
    (question,) = answer.json()["questions"]
    assert client.get("/v1/wear-days").json()["items"] == []
    month_first = next(value for value, _ in question["choices"] if "month" in value)
    given = json.dumps({question["key"]: month_first})
    answer = send(client, SHEET, data={"answers": given})
    assert answer.status_code == 201, answer.text
    days = {row["worn_on"] for row in client.get("/v1/wear-days").json()["items"]}
    assert days == {"2026-03-04", "2026-05-06"}
    assert {one["column"] for one in answer.json()["report"]["assumed"]} >= {"material"}


def test_what_is_proposed_is_taken_when_asked(client):
    assert send(client, SHEET, data={"take_proposals": "true"}).status_code == 201


@pytest.mark.parametrize("answers", ["[]", "{", '{"a": 1}', '{"a": {}}', "[" * 50_000])
def test_answers_that_are_no_object_of_texts_are_refused(client, answers):
    answer = send(client, SHEET, data={"answers": answers})
    assert (answer.status_code, answer.json()["type"]) == (422, "/problems/invalid-input")


@pytest.mark.slow
def test_whatever_is_done_to_a_file_it_is_taken_whole_or_refused_and_nothing_is_half(client):
    rng = random.Random(11)
    rows = [["Date", "Shoe", "Hours"], *(["2026-03-04", f"Derby {n}", 8] for n in range(30))]
    good = [text(rows), xlsx({"Log": rows}), pack({"log.csv": text(rows), "b.txt": LOG})]
    before = 0
    for _ in range(60):
        mangled = bytearray(rng.choice(good))
        for _ in range(rng.randint(1, 4)):
            at = rng.randrange(len(mangled) - 1)
            mangled[at : at + rng.randrange(3)] = rng.randbytes(rng.randrange(4))
        name = f"{rng.choice(['log', 'büro', '../x'])}.{rng.choice(['csv', 'xlsx', 'zip', 'bin'])}"
        answer = send(client, (name, bytes(mangled)), data={"take_proposals": "true"})
        assert answer.status_code in (201, 413, 422), answer.text
        count = sum(item["counts"]["wear_days"]["new"] for item in imports_of(client))
        assert (count > before) <= (answer.status_code == 201)
        before = count


def imports_of(client):
    items = client.get("/v1/imports?limit=200").json()["items"]
    return [item for item in items if "wear_days" in item["counts"]]
