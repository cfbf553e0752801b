"""Import, export, import: nothing is lost and nothing is added, whatever the texts hold."""

from __future__ import annotations

import csv
import io
import tempfile
from datetime import date, timedelta
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from solespan.api.services.importing.exports import export_folder
from solespan.api.services.importing.imports import import_files, import_folder
from solespan.api.services.interchange.formulas import guard, unguard
from solespan.api.storage.rack.frames import load_frames
from solespan.api.storage.session import open_database
from solespan.forecast.frames import LAYERS, TABLES

TODAY = date(2026, 11, 25)
FIRST = date(2020, 1, 1)
DANGEROUS = ("=", "+", "-", "@", "\t", "\r", "\n", *"\uff1d\uff0b\uff0d\uff20")

texts = st.text(
    st.characters(exclude_categories=["Cs"], exclude_characters="\0"), min_size=1, max_size=20
) | st.sampled_from(
    ["=1+1", "'=1+1", "''-x", " @x", 'say "hi", twice', "two\nlines", "a\r\nb", "'", "é ö 靴", "-5"]
)
ids = st.text(st.characters(categories=["L", "N", "P", "S"]), min_size=1, max_size=8)
days = st.integers(0, 2500).map(lambda n: FIRST + timedelta(days=n))


def optional(strategy):
    return st.none() | strategy


def numbers(low: float, high: float):
    return st.floats(low, high, allow_subnormal=False)


@st.composite
def folders(draw) -> dict[str, list[dict]]:
    """Rows of all six tables that can be true together."""

    def unique(count: int) -> list[str]:
        return draw(st.lists(ids, min_size=count, max_size=count, unique=True))

    wearers = [
        {
            "wearer_id": text,
            "name": draw(optional(texts)),
            "time_zone": draw(st.sampled_from(["UTC", "Europe/Vienna"])),
            "driving_foot": draw(optional(st.sampled_from(["left", "none"]))),
            "email": draw(optional(st.just("+a@b"))),
        }
        for text in unique(draw(st.integers(0, 2)))
    ]
    count = draw(st.integers(0, 3)) if wearers else 0
    rows: dict[str, list[dict]] = {name: [] for name in TABLES}
    rows["wearers"] = wearers
    for pair_id, sole_id, job_id in zip(unique(count), unique(count), unique(count), strict=True):
        rows["pairs"].append(
            {
                "pair_id": pair_id,
                "wearer_id": draw(st.sampled_from(wearers))["wearer_id"],
                "label": draw(optional(texts)),
                "construction": "blake",
                "size_eu": draw(optional(numbers(15, 55))),
                "price_minor": draw(optional(st.integers(0, 10**12))),
                "currency": draw(optional(st.just("EUR"))),
                "earlier_resoles": draw(optional(st.integers(0, 30))),
            }
        )
        limit_mm = draw(optional(numbers(0, 4)))
        rows["soles"].append(
            {
                "sole_id": sole_id,
                "pair_id": pair_id,
                "fitted_on": FIRST,
                "material": "crepe",
                "nominal_thickness_mm": draw(numbers(4.5, 40)),
                "limit_mm": limit_mm,
            }
        )
        for day in draw(st.lists(days, max_size=4, unique=True)):
            rows["wear_days"].append(
                {
                    "pair_id": pair_id,
                    "worn_on": day,
                    "hours": draw(optional(numbers(0, 24))),
                    "steps": draw(optional(st.integers(0, 200_000))),
                    "surface": draw(st.sampled_from(["indoor", "rough", None])),
                    "wet": draw(st.sampled_from(["true", "false", None])),
                    "driving_minutes": draw(optional(numbers(0, 1440))),
                }
            )
        for day in draw(st.lists(days, max_size=4, unique=True)):
            measured = draw(st.booleans())
            rows["checks"].append(
                {
                    "pair_id": pair_id,
                    "checked_on": day,
                    "foot": draw(st.sampled_from(["left", "right"])),
                    "point": draw(st.sampled_from(["ball", "heel"])),
                    "method": "caliper" if measured else "thumb",
                    "value_mm": draw(numbers(0, 40)) if measured else None,
                    "grade": None if measured else "give",
                }
            )
        rows["bench_jobs"].append(
            {
                "job_id": job_id,
                "pair_id": pair_id,
                "work": "toe_plate",
                "received_on": draw(days),
                "bench_minutes": draw(optional(numbers(0, 100))),
            }
        )
        for number, layer in enumerate(draw(st.lists(st.sampled_from(LAYERS), max_size=3))):
            rows["layers"].append(
                {
                    "layer_id": f"{sole_id}-{number}",
                    "pair_id": pair_id,
                    "foot": draw(st.sampled_from(["left", None])),
                    "layer": layer,
                    "material": draw(st.sampled_from(["leather", "steel", None])),
                    "nominal_thickness_mm": draw(optional(numbers(4.5, 100))),
                    "thickness_mm": draw(optional(numbers(0, 4))),
                    "earlier_seams": draw(st.integers(0, 4)) if layer == "welt" else None,
                    "fitted_on": draw(optional(days)),
                }
            )
    return rows


def _files(rows: dict[str, list[dict]]) -> dict[str, io.BytesIO]:
    out = {}
    for name, table in TABLES.items():
        columns = [c.name for c in table.stored]
        stream = io.StringIO(newline="")
        writer = csv.writer(stream)
        writer.writerow(columns)
        for row in rows[name]:
            cells = (row.get(c) for c in columns)
            writer.writerow(
                ""
                if v is None
                else guard(v)
                if isinstance(v, str)
                else repr(v)
                if isinstance(v, float)
                else v
                for v in cells
            )
        out[f"{name}.csv"] = io.BytesIO(stream.getvalue().encode())
    return out


def _stored(database) -> dict:
    with database.reading() as session:
        frames = load_frames(session)
    return {
        name: frame.astype(object).where(frame.notna(), None).to_dict("records")
        for name, frame in frames.items()
    }


def _check(databases, rows: dict[str, list[dict]]) -> None:
    with tempfile.TemporaryDirectory() as text:
        folder = Path(text)
        addresses = [databases.copy(), databases.copy()]
        ours, theirs = map(open_database, addresses)
        report = import_files(ours, _files(rows), source="generated", today=TODAY)
        assert report.written, report.rows
        stored = _stored(ours)
        for name, table in TABLES.items():
            kept = {
                tuple(str(row[k])[:10] if "_on" in k else row[k] for k in table.key)
                for row in stored[name]
            }
            assert kept == {
                tuple(str(row[k]) if "_on" in k else row[k] for k in table.key)
                for row in rows[name]
            }
        labels = {row["pair_id"]: row["label"] for row in stored["pairs"]}
        assert labels == {row["pair_id"]: row["label"] for row in rows["pairs"]}
        export_folder(ours, folder / "out")
        for file in (folder / "out").iterdir():
            with file.open(encoding="utf-8", newline="") as stream:
                cells = [cell for row in csv.reader(stream) for cell in row]
            assert not [cell for cell in cells if cell.startswith(DANGEROUS)]
        assert import_folder(ours, folder / "out", today=TODAY).changed == 0
        assert import_folder(theirs, folder / "out", today=TODAY).written
        assert _stored(theirs) == _stored(ours) == stored
        for database, address in zip((ours, theirs), addresses, strict=True):
            database.close()
            databases.drop(address)


@pytest.mark.slow
@settings(max_examples=200)
@given(rows=folders())
def test_import_export_import_is_the_identity(databases, rows):
    _check(databases, rows)


@settings(max_examples=60)
@given(text=st.text() | texts)
@example(text="'")
@example(text="'=x")
def test_guarding_a_text_can_be_undone_and_hides_formulas(text):
    guarded = guard(text)
    assert unguard(guarded) == text
    assert not guarded.startswith(DANGEROUS)


def test_an_export_never_overwrites_files_unless_told(folder, tmp_path):
    from solespan.api.errors import Conflict

    folder.take()
    assert export_folder(folder.database, tmp_path / "out")["wear_days.csv"] == 2
    (tmp_path / "out" / "pairs.csv").write_text("mine")
    with pytest.raises(Conflict, match=r"pairs\.csv"):
        export_folder(folder.database, tmp_path / "out")
    assert (tmp_path / "out" / "pairs.csv").read_text() == "mine"
    export_folder(folder.database, tmp_path / "out", replace=True)
    assert (tmp_path / "out" / "pairs.csv").read_text().startswith("pair_id,")


def test_irons_are_exported_as_millimetres(folder, tmp_path):
    folder.only(
        soles="sole_id,pair_id,fitted_on,material,nominal_thickness_iron\n"
        "s1,oxford,2024-01-10,oak_bark_leather,9\n"
    )
    folder.take()
    export_folder(folder.database, tmp_path / "out")
    with (tmp_path / "out" / "soles.csv").open() as stream:
        [row] = csv.DictReader(stream)
    assert row["nominal_thickness_mm"] == "4.7625"
    assert "nominal_thickness_iron" not in row


def test_an_export_that_cannot_be_written_says_so(folder, tmp_path):
    from solespan.api.errors import Refused

    (tmp_path / "file").write_text("")
    with pytest.raises(Refused, match="cannot be written"):
        export_folder(folder.database, tmp_path / "file" / "out")


def test_one_wearers_rows_can_be_exported_alone(folder, tmp_path):
    folder.texts["wearers"] += "bob,Bob,UTC,none\n"
    folder.texts["pairs"] += "boot,bob,Boot,blake\n"
    folder.take()
    counts = export_folder(folder.database, tmp_path / "out", wearer_ids=["bob"])
    assert counts == {
        "wearers.csv": 1,
        "pairs.csv": 1,
        "soles.csv": 0,
        "wear_days.csv": 0,
        "checks.csv": 0,
        "bench_jobs.csv": 0,
        "layers.csv": 0,
    }
