"""An import can be repeated: equal rows change nothing, changed rows are updates."""

from __future__ import annotations

import threading

import pytest
from sqlalchemy import select

from solespan.api.errors import Conflict
from solespan.api.storage.tables.rack import Pair, WearDay, Wearer
from solespan.api.storage.tables.results import ImportRun


def _all_rows(database) -> list:
    with database.reading() as session:
        return [
            sorted(session.execute(select(*table.__table__.c)).all())
            for table in (Wearer, WearDay, ImportRun)
        ]


def test_the_same_folder_twice_changes_nothing(folder_on_both):
    folder = folder_on_both
    first = folder.take()
    assert first.written
    assert {name: c.new for name, c in first.counts.items()} == {
        "wearers": 1,
        "pairs": 1,
        "soles": 1,
        "wear_days": 2,
        "checks": 2,
        "bench_jobs": 1,
    }
    before = _all_rows(folder.database)
    second = folder.take()
    assert second.written
    assert second.changed == 0
    assert second.wearer_ids == []
    assert sum(c.unchanged for c in second.counts.values()) == 8
    assert _all_rows(folder.database) == before


def test_a_changed_row_is_an_update_and_reported_as_one(folder_on_both):
    folder = folder_on_both
    folder.take()
    folder.texts["wear_days"] = folder.texts["wear_days"].replace("02-01,8", "02-01,6.5")
    folder.texts["checks"] = folder.texts["checks"].replace(
        "left,ball,caliper,4.6,", "left,ball,caliper,,firm"
    )
    report = folder.take()
    assert [(n, c.updated) for n, c in report.counts.items() if c.updated] == [
        ("wear_days", 1),
        ("checks", 1),
    ]
    stored = folder.stored()
    assert stored["wear_days"][0]["hours"] == 6.5
    left = stored["checks"][0]
    assert (left["grade"], left["value_mm"] != left["value_mm"]) == ("firm", True)
    with folder.database.reading() as session:
        assert session.scalars(select(WearDay.version).order_by(WearDay.worn_on)).all() == [2, 1]


def test_a_column_that_is_absent_keeps_what_is_stored_and_an_empty_cell_empties_it(folder):
    folder.take()
    folder.texts["wear_days"] = "pair_id,worn_on,steps\noxford,2024-02-01,9000\n"
    folder.texts["pairs"] = folder.texts["pairs"].replace("Oxford", "")
    folder.take()
    stored = folder.stored()
    assert (stored["wear_days"][0]["hours"], stored["wear_days"][0]["steps"]) == (8.0, 9000.0)
    assert stored["pairs"][0]["label"] is None


def test_files_may_come_in_parts(folder):
    whole = dict(folder.texts)
    folder.only(wearers=whole["wearers"])
    folder.take()
    empty = {name: whole[name].splitlines()[0] + "\n" for name in ("pairs", "soles")}
    folder.texts = {**empty, "wear_days": whole["wear_days"], "checks": whole["checks"]}
    report = folder.take()
    assert report.written
    assert report.changed == 4


def test_only_wearers_whose_rows_changed_get_a_new_data_version(folder):
    folder.texts["wearers"] += "bob,Bob,UTC,none\n"
    folder.texts["pairs"] += "boot,bob,Boot,blake\n"
    folder.texts["soles"] += "s2,boot,2024-01-10,rubber,5,\n"

    def versions() -> dict[str, int]:
        with folder.database.reading() as session:
            return dict(session.execute(select(Wearer.wearer_id, Wearer.data_version)).all())

    folder.take()
    assert versions() == {"ann": 1, "bob": 1}
    folder.texts["wear_days"] += "boot,2024-03-01,8\n"
    assert folder.take().wearer_ids == ["bob"]
    assert versions() == {"ann": 1, "bob": 2}
    folder.texts["pairs"] = folder.texts["pairs"].replace("boot,bob", "boot,ann")
    assert folder.take().wearer_ids == ["ann", "bob"]
    assert versions() == {"ann": 3, "bob": 3}


def test_an_import_that_was_taken_is_kept_with_its_report(folder_on_both):
    folder = folder_on_both
    folder.texts["wear_days"] += "oxford,2024-02-30,8\n"
    folder.take(keep_good_rows=True)
    with folder.database.reading() as session:
        [run] = session.scalars(select(ImportRun)).all()
        assert run.source == "a test"
        assert run.counts["wear_days"]["refused"] == 1
        assert run.report["rows"][0]["line"] == 4


def test_a_failure_while_writing_leaves_the_database_as_it_was(folder_on_both, monkeypatch):
    folder = folder_on_both

    def fail(*_args):
        raise RuntimeError("the power went")

    monkeypatch.setattr("solespan.api.services.importing.imports.raise_data_version", fail)
    with pytest.raises(RuntimeError):
        folder.take()
    with folder.database.reading() as session:
        assert session.scalars(select(Pair)).all() == []


def test_two_imports_at_once_store_every_row_once(folder_on_both):
    """SQLite lets one wait for the other; on PostgreSQL one may be told to try again."""
    folder = folder_on_both
    errors: list[BaseException] = []

    def take() -> None:
        try:
            folder.take()
        except Conflict as error:
            errors.append(error)

    threads = [threading.Thread(target=take) for _ in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(errors) < 3
    assert {name: len(rows) for name, rows in folder.stored().items()} == {
        "wearers": 1,
        "pairs": 1,
        "soles": 1,
        "wear_days": 2,
        "checks": 2,
        "bench_jobs": 1,
        "layers": 0,
    }


@pytest.mark.slow
def test_a_hundred_thousand_wear_days_are_imported_in_seconds(folder_on_both):
    """Measured: about 3 s on SQLite; the bound leaves room for a busy machine."""
    from datetime import date, timedelta

    folder = folder_on_both
    pairs = [f"p{i}" for i in range(250)]
    days = [date(2024, 1, 11) + timedelta(days=k) for k in range(400)]
    folder.only(
        pairs="pair_id,wearer_id,construction\n" + "".join(f"{p},ann,blake\n" for p in pairs),
        soles="sole_id,pair_id,fitted_on,material,nominal_thickness_mm\n"
        + "".join(f"s{p},{p},2024-01-10,rubber,5\n" for p in pairs),
        wear_days="pair_id,worn_on,hours\n" + "".join(f"{p},{d},8\n" for p in pairs for d in days),
    )
    assert folder.take().counts["wear_days"].new == 100_000
