"""Do the documents tell the truth about commands, settings and the commands of CI?"""

from __future__ import annotations

import re
import runpy
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text("utf-8")
GUIDE = (ROOT / "DEVELOPERS.md").read_text("utf-8")
DOCS = ROOT / "docs"
DOCUMENTS = (
    ROOT / "README.md",
    ROOT / "DEVELOPERS.md",
    *sorted(DOCS.rglob("*.md")),
    *sorted((ROOT / "dashboards" / "help").rglob("*.md")),
)


def test_the_reference_is_what_the_code_says():
    written = {path.name: path.read_text("utf-8") for path in (DOCS / "reference").glob("*.md")}
    made = runpy.run_path(str(ROOT / ".ci" / "make_reference.py"))["documents"]()
    stale = [name for name in made.keys() | written.keys() if made.get(name) != written.get(name)]
    assert not stale, "run: python .ci/make_reference.py"


def test_every_setting_stands_in_the_reference():
    from solespan.api.settings import PREFIX, Settings

    reference = (DOCS / "reference" / "settings.md").read_text("utf-8")
    missing = [n for n in Settings.model_fields if f"`{PREFIX}{n.upper()}`" not in reference]
    assert not missing


def test_every_unknown_of_the_model_stands_in_its_table():
    from solespan.forecast.covariates import COVARIATES
    from solespan.forecast.priors import POPULATION_SD, SPREADS

    model = (DOCS / "model.md").read_text("utf-8")
    names = (*POPULATION_SD, *SPREADS, *(f"log_{name}" for name in COVARIATES))
    assert [name for name in names if f"`{name}`" not in model] == []


def test_every_decision_stands_in_the_index():
    folder = DOCS / "decisions"
    index = (folder / "README.md").read_text("utf-8")
    files = {path.name for path in folder.glob("*.md")} - {"README.md"}
    assert set(re.findall(r"\(([a-z-]+\.md)\)", index)) == files
    for name in files:
        text = (folder / name).read_text("utf-8")
        for part in ("Context", "Choice", "Consequence", "Rejected"):
            assert f"**{part}.**" in text, (name, part)


@pytest.mark.parametrize("path", DOCUMENTS, ids=lambda path: str(path.relative_to(ROOT)))
def test_every_link_between_documents_arrives(path):
    text = path.read_text("utf-8")
    for address in re.findall(r"\]\(([^)#]+)\)", text):
        if not address.startswith("/help"):
            assert (path.parent / address).exists(), address


@pytest.mark.parametrize(("name", "most_bytes"), [("README.md", 7168), ("DEVELOPERS.md", 8192)])
def test_the_first_documents_stay_short(name, most_bytes):
    assert (ROOT / name).stat().st_size <= most_bytes


def test_every_file_that_the_guide_names_is_there():
    named = re.findall(r"`((?:api|dashboards|forecast|synthetic_data|tests)/[\w./]+)`", GUIDE)
    assert len(named) > 20
    assert [name for name in named if not (ROOT / name).exists()] == []


def test_every_command_stands_in_the_readme():
    from typer.main import get_command

    from solespan.api.cli.main import build_app

    commands = get_command(build_app()).commands  # type: ignore[attr-defined]
    missing = [name for name in commands if not re.search(rf"`{name}`|solespan {name}", README)]
    assert not missing


def test_every_table_of_the_interchange_stands_in_the_readme():
    from solespan.forecast.frames import BANDS, TABLES

    assert all(f"`{name}.csv`" in README for name in TABLES)
    assert all(f"`{band}`" in README for band in BANDS)


def test_ci_runs_the_test_command_of_the_readme_word_for_word():
    command = next(c for c in re.findall(r"```sh\n(.*?)\n```", README, re.DOTALL) if "[test]" in c)
    assert command in (ROOT / ".ci" / "run").read_text("utf-8")


def _rows_of_the_add_table() -> list[str]:
    section = GUIDE.partition("## Where do I add ...?")[2].partition("\n## ")[0]
    return [line for line in section.splitlines() if line.startswith("| a ")]


def test_every_file_of_the_add_table_is_there():
    rows = _rows_of_the_add_table()
    assert len(rows) > 8
    named = [path for row in rows for path in re.findall(r"`([\w./]+(?:/|\.)[\w./]+)`", row)]
    assert len(named) > 20
    assert [path for path in named if not (ROOT / path).exists()] == []


def test_every_register_of_the_add_table_stands_in_its_file():
    found = [
        pair
        for row in _rows_of_the_add_table()
        for pair in re.findall(r"`([A-Z_]+)` (?:of|in) `([\w./]+)`", row)
    ]
    assert len(found) > 6
    for name, path in found:
        text = (ROOT / path).read_text("utf-8")
        assert re.search(rf"^{name}\b", text, re.MULTILINE), (name, path)


def test_the_constraints_hold_names_and_versions_and_no_address():
    lines = (ROOT / ".ci" / "constraints.txt").read_text("utf-8").split()
    assert lines
    assert all(re.fullmatch(r"[A-Za-z0-9_.\-]+==[A-Za-z0-9_.+\-]+", line) for line in lines)


@pytest.mark.parametrize("path", DOCUMENTS, ids=lambda path: str(path.relative_to(ROOT)))
def test_no_document_names_a_machine_path_or_a_registry(path):
    document = path.read_text("utf-8")
    absolute = re.findall(r"(?<![\w.:/])/[a-z]+/[\w./-]+", document)
    own = ("/v1/", "/help/", "/etc/", "/opt/solespan", "/usr/local/bin/", "/var/lib/solespan")
    assert [address for address in absolute if not address.startswith(own)] == []
    assert re.findall(r"https?://(?!127\.0\.0\.1|\w+\.example\.org)\S+", document) == []
