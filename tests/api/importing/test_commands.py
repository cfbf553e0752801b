"""The commands end in a sentence, never a traceback, and with the exit code that scripts need."""

from __future__ import annotations

import csv
import os
import subprocess
import sys
from pathlib import Path

import pytest

from solespan.api.cli import main as cli
from solespan.api.errors import BadSetting
from solespan.api.settings import load_settings
from solespan.api.storage.schema import newest_revision, revision_of
from solespan.api.storage.session import open_database


@pytest.fixture
def on_disk(folder, tmp_path):
    """Write the small right folder to disk."""
    path = tmp_path / "logs"
    path.mkdir()
    for name, text in folder.texts.items():
        (path / f"{name}.csv").write_text(text)
    return path


@pytest.mark.slow
def test_import_makes_the_database_and_tells_what_is_new(run, on_disk, tmp_path):
    code, out, _ = run("import", str(on_disk))
    assert code == 0
    assert "8 rows were written" in out
    database = open_database(f"sqlite:///{tmp_path}/own.sqlite3")
    assert revision_of(database) == newest_revision()
    database.close()
    code, out, _ = run("import", str(on_disk))
    assert (code, "Nothing to change" in out) == (0, True)


def test_a_refused_row_ends_with_one_and_the_report_has_it(run, on_disk, tmp_path):
    (on_disk / "wear_days.csv").write_text("pair_id,worn_on,hours\noxford,2024-02-01,=1+1\n")
    report = tmp_path / "report.csv"
    code, out, _ = run("import", str(on_disk), "--report", str(report))
    assert code == 1
    assert "Nothing was written" in out
    with report.open(newline="", encoding="utf-8") as stream:
        [row] = csv.DictReader(stream)
    assert (row["severity"], row["file"], row["line"], row["column"]) == (
        "refused",
        "wear_days.csv",
        "2",
        "hours",
    )
    assert row["value"] == "'=1+1"
    code, out, _ = run("import", str(on_disk), "--keep-good-rows")
    assert code == 0
    assert "1 refused rows were left out" in out


def test_markup_in_a_cell_is_shown_as_text(run, on_disk):
    (on_disk / "wear_days.csv").write_text("pair_id,worn_on,hours\n[bold]x[/nope],2024-02-01,1\n")
    code, out, _ = run("import", str(on_disk))
    assert code == 1
    assert "[bold]x[/nope]" in out


@pytest.mark.slow
def test_export_and_import_meet_in_the_middle(run, on_disk, tmp_path):
    run("import", str(on_disk))
    code, out, _ = run("export", str(tmp_path / "out"))
    assert (code, "wear_days.csv: 2 rows" in out) == (0, True)
    code, _, err = run("export", str(tmp_path / "out"))
    assert (code, "--replace" in err) == (2, True)
    assert run("export", str(tmp_path / "out"), "--replace")[0] == 0
    assert "Nothing to change" in run("import", str(tmp_path / "out"))[1]


def test_migrate_tells_the_revision_before_and_after(run):
    assert "empty to revision" in run("migrate")[1]
    assert "up to date" in run("migrate")[1]


def test_a_mistake_says_what_where_accepted_and_what_to_do(run, tmp_path):
    code, _, err = run("import", str(tmp_path / "nowhere"))
    assert code == 2
    assert err.splitlines()[0] == "solespan: There is no such file or folder."
    assert [line.split(":")[0].strip() for line in err.splitlines()[1:]] == [
        "where",
        "accepted",
        "what to do",
    ]


@pytest.mark.parametrize(
    ("address", "said"),
    [
        ("nonsense", "cannot be read"),
        ("mysql://x/y", "cannot be read"),
        ("sqlite:////nowhere/at/all.sqlite3", "unable to open database file"),
        ("postgresql://nobody@/none?host=/nowhere", "could not be used"),
    ],
)
def test_a_database_that_cannot_be_reached_is_told_without_a_traceback(
    run, on_disk, monkeypatch, address, said
):
    monkeypatch.setenv("SOLESPAN_DATABASE_URL", address)
    code, _, err = run("import", str(on_disk))
    assert code == 2
    assert said in err
    assert "SOLESPAN_DATABASE_URL" in err


def test_a_setting_that_cannot_be_used_is_named(monkeypatch):
    monkeypatch.setenv("SOLESPAN_RISK", "2")
    with pytest.raises(BadSetting, match="SOLESPAN_RISK") as caught:
        load_settings()
    assert "less than 1" in caught.value.accepted


def test_help_is_there_at_once_because_it_loads_no_numbers():
    code = (
        "import sys; sys.argv = ['solespan', '--help']\n"
        "from solespan.api.cli.main import main\n"
        "try:\n    main()\nexcept SystemExit:\n    pass\n"
        "heavy = {'pandas', 'numpy', 'statsmodels', 'sqlalchemy', 'fastapi'} & set(sys.modules)\n"
        "assert not heavy, heavy\n"
    )
    root = Path(cli.__file__).parents[2]
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        check=False,
        env={**os.environ, "PYTHONPATH": str(root)},
        text=True,
    )
    assert done.returncode == 0, done.stderr
    assert "import" in done.stdout
