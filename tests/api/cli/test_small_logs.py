"""Does every command that reads a fit work on a small or odd log, or refuse in our own words?"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from typer.testing import CliRunner

from solespan.api.cli.main import build_app
from solespan.api.clock import Clock
from solespan.api.errors import SolespanError
from solespan.forecast.errors import ForecastError
from solespan.forecast.log import WearLog
from solespan.synthetic_data.__main__ import write_folder
from tests.forecast.builders import day, log_of
from tests.forecast.small_logs import LAST, NAMED, Frames

REPORTED = "three wear days and two thumb grades"  # `solespan fit` once ended in a traceback
TABLES = ("wearers", "pairs", "soles", "wear_days", "checks", "bench_jobs")
EARLIER = str(day(LAST // 2).date())

Run = Callable[..., str | None]


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, new_address: str) -> Run:
    """Run a command as of the last day; give its text, or None where it refused in words."""
    last = day(LAST)
    clock = Clock(now=lambda: datetime(last.year, last.month, last.day, 12, tzinfo=UTC))
    monkeypatch.setenv("SOLESPAN_DATABASE_URL", new_address)
    monkeypatch.setenv("COLUMNS", "160")
    for place in ("solespan.api.wiring", "solespan.api.cli.bench.bench"):
        monkeypatch.setattr(f"{place}.Clock", lambda: clock)

    def run(*arguments: str) -> str | None:
        result = CliRunner().invoke(build_app(), arguments)
        if isinstance(result.exception, SolespanError | ForecastError):
            assert len(str(result.exception).split()) > 3
            return None
        if result.exception is not None:
            raise result.exception
        assert "nan" not in result.stdout.split()
        return result.stdout

    return run


def commands(log: WearLog, folder: Path) -> Iterator[tuple[str, ...]]:
    """Every command that reads a fit, for every wearer and pair."""
    yield from [("fit",), ("fit", "--as-of", EARLIER), ("forecast",)]
    yield from [
        ("forecast", "--format", "csv", "--out", str(folder / "due.csv")),
        ("forecast", "--as-of", EARLIER),
    ]
    pairs = log.pairs["pair_id"].tolist()
    for wearer in log.wearers["wearer_id"].head(2):
        whose = ("--wearer", wearer)
        yield from [("plan", *whose, "--weeks", "4"), ("what-if", *whose, "--plan")]
        yield from [("what-if", *whose, "--rest", "2"), ("calendar", *whose)]
        yield from [("what-if", *whose, "--pace", f"{pair}=2") for pair in pairs[:2]]
        yield from [("life", *whose), ("routes", *whose), ("care", *whose)]
    for pair in pairs[:2]:
        yield from [("forecast", "--explain", pair), ("routes", pair), ("quote", pair)]
    yield from [("backtest",), ("backtest", "--from", EARLIER)]
    yield from [("workload",), ("bench-plan",), ("bench",), ("stock",), ("notices", "preview")]
    yield ("export", str(folder / "out"))


def enter(run: Run, frames: Frames, folder: Path) -> WearLog:
    """Import a log as a folder of files."""
    log = log_of(frames)
    write_folder({name: getattr(log, name) for name in TABLES}, folder / "log")
    run("import", str(folder / "log"))
    return log


def test_a_fit_of_next_to_nothing_is_told_and_forecast(run: Run, tmp_path: Path) -> None:
    enter(run, NAMED[REPORTED](), tmp_path)
    told = run("fit")
    assert "Can this fit be trusted?" in told
    assert "Too few soles have enough readings" in told
    assert "p" in run("forecast").split()
    assert "thumb" in run("forecast", "--explain", "p")


@pytest.mark.slow
@pytest.mark.parametrize(
    "name",
    [n for n in NAMED if n not in ("a sole without thickness", "a sole as thin as its limit")],
)
def test_every_command_reads_a_small_log(name: str, run: Run, tmp_path: Path) -> None:
    log = enter(run, NAMED[name](), tmp_path)
    for arguments in commands(log, tmp_path):
        run(*arguments)


@pytest.mark.slow
def test_a_rack_whose_soles_are_all_off_is_no_rack_to_plan(run: Run, tmp_path: Path) -> None:
    enter(run, NAMED["a sole that is off and none after it"](), tmp_path)
    assert "fit" in run("fit")
    assert run("plan") is None
    assert "retired" in run("life")


@pytest.mark.slow
def test_a_wearer_without_a_sole_is_told_so(run: Run, tmp_path: Path) -> None:
    enter(run, NAMED["a pair without a sole"](), tmp_path)
    run("fit")
    result = CliRunner().invoke(build_app(), ["plan", "--wearer", "bea"])
    assert isinstance(result.exception, SolespanError)
    assert "No pair of this rack has a sole" in " ".join(result.exception.lines())
