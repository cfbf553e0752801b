"""Does each format of an export, read back, hold the same, and can no text run as a formula?"""

from __future__ import annotations

import io
import json
import re
import sys
import zipfile
from datetime import date, datetime
from itertools import zip_longest
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from frictionless import Package
from hypothesis import given, settings
from hypothesis import strategies as st
from pyarrow import parquet as pq

from solespan.api.errors import Conflict, Refused, TooLarge
from solespan.api.services.importing import workbook
from solespan.api.services.importing.data_package import package_text
from solespan.api.services.importing.exports import FILE_FORMATS, export_file, export_folder
from solespan.api.services.importing.uploads import lay_out
from solespan.api.services.interchange.formulas import unguard
from solespan.api.storage.session import open_database
from solespan.forecast.frames import TABLES
from tests.api.importing.conftest import Folder
from tests.api.importing.test_round_trip import DANGEROUS, texts

PAIRS = TABLES["pairs"]
odd_pairs = st.lists(
    st.fixed_dictionaries(
        {
            "pair_id": texts,
            "label": st.none() | texts,
            "size_eu": st.none() | st.floats(15, 55),
            "acquired_on": st.none() | st.dates(date(1900, 3, 1), date(2199, 12, 31)),
            "price_minor": st.none() | st.integers(0, 10**12),
        }
    ),
    max_size=4,
)


def frame_of(rows: list[dict]) -> pd.DataFrame:
    columns = {c.name: [row.get(c.name) for row in rows] for c in PAIRS.stored}
    frame = pd.DataFrame(columns).astype({"acquired_on": "datetime64[s]", "in_use_on": "object"})
    return frame.astype({c.name: "object" for c in PAIRS.stored if c.kind in ("id", "text")})


def written(form: str, rows: list[dict]) -> io.BytesIO:
    stream = io.BytesIO()
    FILE_FORMATS[form](iter([(PAIRS, frame_of(rows))]), stream)
    return stream


def unescaped(text: str) -> str:
    """Read a cell's text as ECMA-376 says."""
    return re.sub("_x([0-9A-F]{4})_", lambda found: chr(int(found[1], 16)), text)


@settings(max_examples=25, deadline=None)
@given(rows=odd_pairs)
def test_a_workbook_read_back_is_the_same(rows):
    sheet = openpyxl.load_workbook(written("xlsx", rows), read_only=True)["pairs"]
    header, *cells = sheet.iter_rows(values_only=True)
    assert list(header) == [c.name for c in PAIRS.stored]
    for row, given_row in zip(cells, rows, strict=True):
        for name, value in zip_longest(header, row):
            assert not isinstance(value, str) or not value.startswith(DANGEROUS)
            assert _read(value) == given_row.get(name)


def _read(value):
    if isinstance(value, str):
        return unguard(unescaped(value))
    return value.date() if isinstance(value, datetime) else value


@settings(max_examples=25, deadline=None)
@given(rows=odd_pairs)
def test_parquet_read_back_is_the_same(rows):
    with zipfile.ZipFile(written("parquet", rows)) as archive:
        table = pq.read_table(io.BytesIO(archive.read("pairs.parquet")))
    read = [{k: v for k, v in row.items() if v is not None} for row in table.to_pylist()]
    assert read == [{k: v for k, v in row.items() if v is not None} for row in rows]
    assert table.schema.field("price_minor").metadata[b"unit"] == b"minor unit of currency"


def test_a_backup_is_taken_back_and_changes_nothing_where_it_came_from(folder, tmp_path, databases):
    folder.texts["pairs"] = folder.texts["pairs"].replace("Oxford", '"=cmd, ""x""\n靴"')
    folder.take()
    stream = io.BytesIO()
    export_file(folder.database, "zip", stream)
    stream.seek(0)
    given = lay_out([("backup.zip", stream)], tmp_path, limit_bytes=10**7)
    other = Folder(open_database(databases.copy()))
    texts = {Path(one.name).stem: one.path.read_bytes() for one in given}
    folder.texts = other.texts = texts
    assert folder.take().changed == 0
    assert other.take().changed == sum(map(len, folder.stored().values()))
    assert str(other.stored()) == str(folder.stored())
    other.database.close()


class TestDescription:
    def test_it_says_what_the_files_hold(self, folder, tmp_path):
        folder.take()
        export_folder(folder.database, tmp_path / "out")
        report = Package(str(tmp_path / "out" / "datapackage.json")).validate()
        assert report.valid, report.flatten(["message"])
        assert {task.name for task in report.tasks} == set(TABLES)

    def test_a_row_that_breaks_a_bound_is_found_by_it(self, folder, tmp_path):
        folder.take()
        export_folder(folder.database, tmp_path / "out")
        checks = tmp_path / "out" / "checks.csv"
        checks.write_text(checks.read_text("utf-8").replace("4.6", "46"), "utf-8")
        assert not Package(str(tmp_path / "out" / "datapackage.json")).validate().valid

    def test_it_follows_the_contract(self):
        package = json.loads(package_text())
        for resource in package["resources"]:
            table = TABLES[resource["name"]]
            assert [f["name"] for f in resource["schema"]["fields"]] == [
                c.name for c in table.stored
            ]
            assert resource["schema"]["primaryKey"] == list(table.key)


def test_a_folder_is_not_overwritten_unasked(folder, tmp_path):
    folder.take()
    for form in ("csv", "parquet"):
        out = tmp_path / form
        export_folder(folder.database, out, form=form)
        with pytest.raises(Conflict, match="already holds"):
            export_folder(folder.database, out, form=form)
        export_folder(folder.database, out, form=form, replace=True)
        assert not list(out.glob("*.part"))


def test_a_table_longer_than_a_sheet_is_refused(monkeypatch):
    monkeypatch.setattr(workbook, "MOST_ROWS", 2)
    with pytest.raises(TooLarge, match="pairs has 2 rows; a sheet holds 1"):
        written("xlsx", [{"pair_id": "a"}, {"pair_id": "b"}])


def test_parquet_without_its_library_is_refused_in_words(monkeypatch):
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(Refused, match="pyarrow"):
        written("parquet", [])


def test_the_page_gives_each_file_and_a_backup_goes_back_in(logged):
    page = logged.get("/export").text
    assert all(f'href="/export/{form}"' in page for form in ("zip", "xlsx", "parquet"))
    answers = {form: logged.get(f"/export/{form}") for form in ("zip", "xlsx", "parquet")}
    for answer in answers.values():
        assert answer.status_code == 200
        assert answer.headers["content-disposition"].startswith('attachment; filename="solespan')
        assert answer.headers["cache-control"] == "no-store"
    files = {"files": ("backup.zip", answers["zip"].content, "application/zip")}
    taken = logged.post("/v1/imports", files=files).json()["report"]
    assert taken["written"]
    assert sum(c["unchanged"] for c in taken["counts"].values()) == 32
    assert logged.get("/export/exe").status_code == 422
