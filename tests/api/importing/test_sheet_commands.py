"""Does the command ask in a terminal, and say without one which option answers what?"""

from __future__ import annotations

import json
import os
import pty
import subprocess
import sys

import pytest

from solespan.api.storage.rack.frames import load_frames
from solespan.api.storage.session import open_database
from tests.api.importing.workbooks import text, xlsx

LOG = [["Date", "Shoe", "Hours"], ["03/04/2026", "Derby", 8], ["05/06/2026", "Derby", 7]]
COMMAND = "from solespan.api.cli.main import main; main()"
HALF = [["Date", "Shoe", "Hours"], ["2026-03-04", "Derby", 8], ["2026-03-55", "Derby", 99]]


@pytest.fixture
def log(tmp_path):
    path = tmp_path / "log.csv"
    path.write_bytes(text(LOG))
    return path


def worn_on(tmp_path):
    database = open_database(f"sqlite:///{tmp_path}/own.sqlite3")
    try:
        with database.reading() as session:
            days = load_frames(session)["wear_days"]["worn_on"]
    finally:
        database.close()
    return sorted(str(day)[:10] for day in days)


def test_without_a_terminal_each_question_is_told_with_the_option_that_answers_it(
    run,
    log,
    tmp_path,
):
    code, _, err = run("import", str(log))
    assert code == 2
    assert "Nothing was written" in err
    assert "--day-first or --month-first" in err
    assert "--answer" in err
    assert "--yes" in err
    assert worn_on(tmp_path) == []
    assert run("import", str(log), "--month-first")[0] == 2, "nobody has agreed to the rows yet"
    code, out, _ = run("import", str(log), "--month-first", "--yes")
    assert (code, "rows were written" in out) == (0, True)
    assert worn_on(tmp_path) == ["2026-03-04", "2026-05-06"]


def test_an_option_beats_the_file_of_answers_and_a_dry_run_writes_nothing(
    run,
    log,
    tmp_path,
):
    mapping = tmp_path / "answers.json"
    mapping.write_text(json.dumps({"column:/hours": "ignore"}), "utf-8")
    code, out, _ = run("import", str(log), "--mapping", str(mapping), "--dry-run", "--day-first")
    assert (code, "Nothing was written, as you asked" in out) == (0, True)
    assert "Hours: leave this column out" in out
    assert worn_on(tmp_path) == []
    words = ("--mapping", str(mapping), "--answer", "column:/hours=wear_days.hours", "--dry-run")
    assert "Hours: wear: hours" in run("import", str(log), *words)[1]


@pytest.mark.parametrize("answers", ["[]", "nonsense", '{"a": 1}'])
def test_a_file_of_answers_that_is_none_is_refused(run, log, tmp_path, answers):
    mapping = tmp_path / "answers.json"
    mapping.write_text(answers, "utf-8")
    code, _, err = run("import", str(log), "--mapping", str(mapping))
    assert (code, "cannot be read" in err) == (2, True)
    code, _, err = run("import", str(log), "--answer", "day")
    assert (code, "equals sign" in err) == (2, True)


def test_a_file_is_taken_half_and_the_rest_is_written_beside(run, tmp_path):
    book = tmp_path / "book.xlsx"
    book.write_bytes(xlsx({"Log": HALF}))
    code, out, _ = run("import", str(book), "--yes")
    assert (code, "Nothing was written" in out) == (1, True)
    assert "book.xlsx, sheet Log, line 3" in out
    rest = tmp_path / "rest"
    code, out, _ = run("import", str(book), "--yes", "--keep-good-rows", "--rest", str(rest))
    assert (code, "1 rows to correct" in out) == (0, True)
    assert "2026-03-55" in (rest / "rest-0.csv").read_text("utf-8-sig")
    assert worn_on(tmp_path) == ["2026-03-04"]


def test_a_folder_without_a_sheet_is_refused(run, tmp_path):
    (tmp_path / "none").mkdir()
    code, _, err = run("import", str(tmp_path / "none"))
    assert (code, "no sheet" in err) == (2, True)


@pytest.mark.slow
def test_in_a_terminal_the_questions_are_asked_and_the_rows_written_after_a_yes(log, tmp_path):
    ours, theirs = pty.openpty()
    address = f"sqlite:///{tmp_path}/own.sqlite3"
    command = subprocess.Popen(
        [sys.executable, "-c", COMMAND, "import", str(log)],
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
        env={**os.environ, "SOLESPAN_DATABASE_URL": address, "COLUMNS": "200"},
    )
    try:
        os.close(theirs)
        seen = _until(ours, "Number, 1 to")
        number = next(n for n in "12" if "4 March 2026" in _line(seen, f"  {n}  "))
        os.write(ours, f"{number}\n".encode())
        _until(ours, "[Y/n]")
        os.write(ours, b"y\n")
        _until(ours, "rows were written")
        assert command.wait(60) == 0
    finally:
        command.kill()
        command.wait()
        os.close(ours)
    assert worn_on(tmp_path) == ["2026-03-04", "2026-05-06"]


def _until(terminal: int, words: str) -> str:
    seen = b""
    while words.encode() not in seen:
        seen += os.read(terminal, 4096)
    return seen.decode()


def _line(text_seen: str, start: str) -> str:
    return next(line for line in text_seen.splitlines() if line.startswith(start))
