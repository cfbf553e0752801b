"""Does a file give the same report and rows however it is cut into chunks and batches."""

from __future__ import annotations

import subprocess
import sys
from datetime import date, timedelta

import numpy as np
import pytest

from solespan.api.services.importing import pair_batches
from solespan.api.services.interchange import packed_rows, reading
from solespan.api.storage.session import open_database
from tests.api.importing.conftest import Folder

PAIRS = "pair_id,wearer_id,construction\n" + "".join(f"p{i},ann,blake\n" for i in range(6))
PAIRS += "'=p,ann,blake\n"  # guarded against formulas: the id is =p
SOLES = "sole_id,pair_id,fitted_on,material,nominal_thickness_mm,removed_on\n" + "".join(
    f"s{i},{pair},2024-01-10,rubber,6,{'2024-03-01' if i == 2 else ''}\n"
    for i, pair in enumerate(("p0", "p1", "p2", "p3", "p4", "'=p"))
)
HEAD = {
    "wear_days": "pair_id,worn_on,hours,wet\n",
    "checks": "pair_id,checked_on,foot,point,method,value_mm,grade\n",
}
DAY = date(2024, 1, 5)


def odd_lines(seed: int) -> dict[str, str]:
    """Many rows, good and bad in every way, in no order."""
    rng = np.random.default_rng(seed)
    names = ["p0", "p1", "p2", "p3", "p4", "p5", "p6", "'=p", "=p", ""]
    texts = dict(HEAD)
    for _ in range(60):
        pair, day = rng.choice(names), DAY + timedelta(days=int(rng.integers(0, 90)))
        hours = rng.choice(["8", "8.0", "", "25", " 3", "x"], p=[0.4, 0.2, 0.2, 0.05, 0.1, 0.05])
        texts["wear_days"] += f"{pair},{day},{hours},{rng.choice(['true', 'false', ''])}\n"
        texts["wear_days"] += str(rng.choice(["", ",,,\n", "\n", "p1,2024-02-01\n"]))
        foot, value = rng.choice(["left", "right"]), rng.choice(["5.1", "4.9", "4.2", "", "9"])
        texts["checks"] += f"{pair},{day},{foot},ball,caliper,{value},\n"
    texts["wear_days"] += 'p1,2024-02-20,"8\n",\np1,2024-02-20,7,\np4,2024-02-20,7,\n' * 2
    return texts


def cut(monkeypatch, chunk, batch):
    monkeypatch.setattr(reading, "CHUNK_ROWS", chunk)
    monkeypatch.setattr(packed_rows, "BATCH_ROWS", batch)
    monkeypatch.setattr(packed_rows, "PARTS_PER_BLOCK", 3)


def twice(databases, texts):
    """Import, import again, and give both reports and all rows as text (NaN equals nothing)."""
    database = open_database(databases.copy())
    folder = Folder(database).only(pairs=PAIRS, soles=SOLES, **texts)
    reports = [folder.take(keep_good_rows=True).to_dict() for _ in range(2)]
    stored = folder.stored()
    database.close()
    return reports, repr(stored)


@pytest.mark.parametrize("seed", [0, *(pytest.param(n, marks=pytest.mark.slow) for n in (1, 2))])
@pytest.mark.slow
def test_the_cut_changes_neither_the_report_nor_the_rows(databases, monkeypatch, seed):
    texts = odd_lines(seed)
    (first, again), stored = twice(databases, texts)
    assert first["counts"]["wear_days"]["refused"] > 5
    assert first["counts"]["wear_days"]["new"] > 20
    assert again["counts"]["wear_days"]["new"] == again["counts"]["wear_days"]["updated"] == 0
    for chunk, batch in ((1, 1), (13, 20)):
        cut(monkeypatch, chunk, batch)
        assert twice(databases, texts) == ([first, again], stored)


def test_a_double_is_found_however_far_apart(folder, findings, monkeypatch):
    cut(monkeypatch, 2, 2)
    days = [f"oxford,{DAY + timedelta(days=10 + n)},8" for n in range(9)]
    rows = [*days, days[0], days[1].replace(",8", ",7")]
    report = folder.only(wear_days="pair_id,worn_on,hours\n" + "\n".join(rows) + "\n").take()
    assert findings(report, "noted") == [("wear_days.csv", 11, "worn_on")]
    refused = [("wear_days.csv", 3, "worn_on"), ("wear_days.csv", 12, "worn_on")]
    assert findings(report, "refused") == refused


def test_a_bad_row_in_the_last_batch_undoes_the_batches_before(folder_on_both, monkeypatch):
    cut(monkeypatch, 2, 1)
    folder = folder_on_both
    before = folder.stored()
    folder.texts["checks"] += "oxford,2024-03-01,left,heel,caliper,99,\n"
    report = folder.take()
    assert not report.written
    assert report.counts["wear_days"].new == 2, "the report counts what would have been written"
    assert folder.stored() == before
    assert folder.take(keep_good_rows=True).written
    assert len(folder.stored()["checks"]) == 2


def test_a_rehearsal_writes_nothing(folder):
    before = folder.stored()
    assert folder.take(rehearse=True).changed
    assert folder.stored() == before


def test_the_report_of_a_file_that_is_wrong_throughout_stays_small(folder, monkeypatch):
    monkeypatch.setattr(pair_batches, "MOST_FINDINGS", 5)
    cut(monkeypatch, 2, 2)
    rows = "".join(f"oxford,2031-01-{n:02d},8\n" for n in range(1, 31))
    report = folder.only(wear_days="pair_id,worn_on,hours\n" + rows).take()
    assert report.counts["wear_days"].refused == 30
    assert report.number("refused") == 5
    assert "25 further findings" in " ".join(finding.why for finding in report.rows)


@pytest.mark.slow
def test_memory_hardly_grows_with_the_rows(tmp_path, monkeypatch):
    """Measured: 60 MiB for 300,000 rows more, most of it for one batch."""
    monkeypatch.delenv("SOLESPAN_DATABASE_URL", raising=False)
    used_mib = []
    for rows in (300, 300_000):
        folder = tmp_path / str(rows)
        folder.mkdir()
        names = [f"p{i}" for i in range(max(1, rows // 300))]
        pairs = "".join(f"{name},w,blake\n" for name in names)
        (folder / "pairs.csv").write_text("pair_id,wearer_id,construction\n" + pairs)
        soles = "".join(f"s{name},{name},2015-01-01,rubber,6\n" for name in names)
        (folder / "soles.csv").write_text(SOLES.partition(",removed_on")[0] + "\n" + soles)
        with (folder / "wear_days.csv").open("w") as file:
            file.write("pair_id,worn_on,hours\n")
            for n in range(300):
                day = date(2015, 2, 1) + timedelta(days=n)
                file.writelines(f"{name},{day},{n % 20}\n" for name in names)
        code = (
            "import resource, subprocess, sys; subprocess.run(sys.argv[1:], check=True);"
            "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)"
        )
        monkeypatch.setenv("SOLESPAN_DATABASE_URL", f"sqlite:///{folder}/x.db")
        command = [sys.executable, "-m", "solespan", "import", str(folder)]
        done = subprocess.run(
            [sys.executable, "-c", code, *command], capture_output=True, text=True, check=True
        )
        used_mib.append(int(done.stdout.split()[-1]) / 1024)
    assert used_mib[1] - used_mib[0] < 120
