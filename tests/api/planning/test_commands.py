"""Do the planning commands plan, compare, log and write, and end a mistake in a sentence?"""

from __future__ import annotations

import pandas as pd
import pytest

from solespan.api.cli import main
from solespan.api.services.planning.resole_options import keep_route
from tests.api.planning.racks import services_on

CORNER = {
    "name": "Corner bench",
    "wait_days": 1,
    "lead_days_p50": 6,
    "lead_days_p90": 9,
    "price_minor": 8000,
}


@pytest.fixture
def run(rack_address, monkeypatch, capsys):
    """Run a command line on the fitted rack; return its exit code and what it printed."""
    monkeypatch.setenv("SOLESPAN_DATABASE_URL", rack_address)
    monkeypatch.setenv("COLUMNS", "200")

    def run(*words: str) -> tuple[int, str, str]:
        monkeypatch.setattr("sys.argv", ["solespan", *words])
        with pytest.raises(SystemExit) as ended:
            main.main()
        printed = capsys.readouterr()
        return ended.value.code or 0, printed.out, printed.err

    return run


@pytest.mark.slow
def test_a_plan_is_shown_kept_written_and_made_again(run, tmp_path):
    file = tmp_path / "days.csv"
    plan = ("plan", "--wearer", "ada", "--weeks", "3")
    assert run(*plan, "--format", "csv", "--out", str(file))[0] == 0
    assert len(pd.read_csv(file)) == 21
    code, out, _ = run(*plan, "--again", "--aim", "spread=4")
    assert "aims above all at new soles spread" in out
    assert code == 0
    assert "The next two weeks" in out


def test_what_if_shows_both_sides(run):
    code, out, _ = run("what-if", "--wearer", "ada", "--pace", "ada-0=3", "--retire", "ada-1")
    assert code == 0
    assert "ada-0" in out


@pytest.mark.slow
def test_routes_care_life_and_calendar_answer(run, tmp_path):
    assert "common practice" in run("routes", "ada-0")[1]
    assert "Logged: brush on ada-0" in run("care", "--wearer", "ada", "--done", "ada-0:brush")[2]
    assert "a year" in run("life", "--wearer", "ada")[1]
    file = tmp_path / "shoes.ics"
    assert run("calendar", "--wearer", "ada", "-o", str(file))[0] == 0
    assert file.read_bytes().startswith(b"BEGIN:VCALENDAR")
    assert "/calendar/" in run("calendar", "--wearer", "ada", "--new-address")[1]


def test_routes_are_listed_and_an_edited_one_is_taken_away(run, rack_address):
    services = services_on(rack_address)
    with services.database.writing() as session:
        keep_route(session, "ada", "corner", CORNER)
    services.database.close()
    assert "Corner bench" in run("routes", "--wearer", "ada")[1]
    code, out, _ = run("routes", "--wearer", "ada", "--forget", "corner")
    assert code == 0
    assert "Corner bench" not in out
    assert "local" in out


def test_resoles_that_a_construction_stands_are_kept_from_now_on(run):
    before = run("life", "--wearer", "ada")[1]
    assert "goodyear_welted 9" in run("life", "--wearer", "ada", "--stands", "goodyear_welted=9")[2]
    assert "blake 3" in run("life", "--wearer", "ada", "--stands", "blake=3")[2]
    after = run("life", "--wearer", "ada")[1]
    assert after != before
    assert "stand 0 more" not in after


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("plan",), "Several wearers"),
        (("plan", "--wearer", "ada", "--occasion", "soon"), "'soon' is no day"),
        (("plan", "--wearer", "ada", "--again"), "no plan yet"),
        (("plan", "--wearer", "nobody"), "nobody"),
        (("what-if", "--wearer", "ada", "--pace", "ada-0"), "is no pace"),
        (("what-if", "--wearer", "ada", "--trip", "x"), "is no trip"),
        (("routes", "ada-3"), "retired"),
        (("routes", "--wearer", "ada", "--forget", "maker"), "is a default"),
        (("life", "--wearer", "ada", "--stands", "glued=2"), "does not say"),
        (("care", "--wearer", "ada", "--done", "ada-0:polish"), "is no care"),
        (("care", "--wearer", "ada", "--done", "ada-0"), "which care was done on which pair"),
        (("plan", "--wearer", "ada", "--week", "formal"), "seven dress codes"),
        (("plan", "--wearer", "ada", "--budget", "-5"), "--budget"),
        (("plan", "--wearer", "ada", "--aim", "spread=9"), "is no aim"),
        (
            ("plan", "--wearer", "ada", "--weeks", "4", "--out", "nowhere/x.csv"),
            "cannot be written",
        ),
        (("calendar", "--wearer", "ada", "-o", "nowhere/x.ics"), "cannot be written"),
        (("what-if", "--wearer", "ada", "--pace", "ada-0=-2"), "are not possible"),
        (("routes", "ada-0", "--chance", "2"), "0.5 to 0.99"),
    ],
)
def test_a_mistake_ends_in_a_sentence_and_code_2(run, words, said):
    code, _, err = run(*words)
    assert code == 2
    assert said in err
    assert "Traceback" not in err
