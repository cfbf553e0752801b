"""How do tests write an interchange folder in a few lines, and import it?"""

from __future__ import annotations

import io
import sys
from collections.abc import Iterator
from datetime import date

import pytest

from solespan.api.cli import main as cli
from solespan.api.services.importing.imports import import_files
from solespan.api.storage.rack.frames import load_frames
from solespan.api.storage.session import open_database

TODAY = date(2026, 11, 25)

WEARERS = "wearer_id,name,time_zone,driving_foot\nann,Ann,Europe/Vienna,right\n"
PAIRS = "pair_id,wearer_id,label,construction\noxford,ann,Oxford,goodyear_welted\n"
SOLES = (
    "sole_id,pair_id,fitted_on,material,nominal_thickness_mm,removed_on\n"
    "s1,oxford,2024-01-10,oak_bark_leather,5.0,\n"
)
WEAR_DAYS = "pair_id,worn_on,hours\noxford,2024-02-01,8\noxford,2024-02-03,\n"
CHECKS = (
    "pair_id,checked_on,foot,point,method,value_mm,grade\n"
    "oxford,2024-03-01,left,ball,caliper,4.6,\n"
    "oxford,2024-03-01,right,ball,caliper,4.5,\n"
)
JOBS = "job_id,pair_id,work,received_on,returned_on\nj1,oxford,top_piece,2024-04-01,2024-04-20\n"


class Folder:
    """Six small files that are right, to be changed one at a time, and a database to import to."""

    def __init__(self, database) -> None:
        self.database = database
        self.texts: dict[str, str | bytes] = {
            "wearers": WEARERS,
            "pairs": PAIRS,
            "soles": SOLES,
            "wear_days": WEAR_DAYS,
            "checks": CHECKS,
            "bench_jobs": JOBS,
        }

    def streams(self) -> dict[str, io.BytesIO]:
        return {
            f"{name}.csv": io.BytesIO(text.encode() if isinstance(text, str) else text)
            for name, text in self.texts.items()
        }

    def take(self, *, today=TODAY, **options):
        return import_files(self.database, self.streams(), source="a test", today=today, **options)

    def stored(self) -> dict[str, list]:
        with self.database.reading() as session:
            frames = load_frames(session)
        return {name: frame.astype(object).to_dict("records") for name, frame in frames.items()}

    def only(self, **texts: str | bytes) -> Folder:
        """Keep pairs and soles, and of the rest only what is named."""
        kept = {"wearers": WEARERS, "pairs": PAIRS, "soles": SOLES}
        self.texts = {**kept, **texts}
        return self


@pytest.fixture
def folder(new_address) -> Iterator[Folder]:
    database = open_database(new_address)
    yield Folder(database)
    database.close()


@pytest.fixture
def folder_on_both(database) -> Folder:
    return Folder(database)


@pytest.fixture
def run(monkeypatch, capsys, tmp_path):
    """Run one command on a database of its own; give exit code, output and errors."""
    monkeypatch.setenv("SOLESPAN_DATABASE_URL", f"sqlite:///{tmp_path}/own.sqlite3")
    monkeypatch.setenv("COLUMNS", "200")

    def command(*words: str) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["solespan", *words])
        with pytest.raises(SystemExit) as ended:
            cli.main()
        seen = capsys.readouterr()
        assert "Traceback" not in seen.out + seen.err
        return int(ended.value.code or 0), seen.out, seen.err

    return command


def found(report, severity: str) -> list[tuple[str, int, str]]:
    """Return the findings of one severity, as file, line, column."""
    return [(f.file, f.line, f.column) for f in report.rows if f.severity == severity]


@pytest.fixture
def findings():
    return found
