"""Is the table of statements in docs/scale.md what pages and operations really send?

`SOLESPAN_TEST_RECORD=1 pytest -n0 -m "" tests/api/operation/test_scale.py` writes the column of the
database that the run is for.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import event

from solespan.api.wiring import Services

FILE = Path(__file__).parents[3] / "docs" / "scale.md"
ROW = re.compile(r"^\| (?P<what>[^|]+) \| `(?P<sent>[^`]+)` \| (?P<sqlite>\S+) \| (?P<pg>\S+) \|$")
BODIES = {
    "wear-days": {"pair_id": "derby", "worn_on": "2026-06-{day}"},
    "checks": {
        "pair_id": "derby",
        "checked_on": "2026-06-{day}",
        "foot": "left",
        "point": "ball",
        "method": "thumb",
        "grade": "firm",
    },
}
HEAVY = {"GET /plan", "GET /workload", "fit", "round of the background"}
OPERATIONS: dict[str, Callable[[Services], object]] = {
    "round of the background": lambda services: services.refitter.once(),
    "fit": lambda services: services.fitter.refit(),
    "forecasts of a partition": lambda services: services.forecaster.update_behind(everyone=True),
}


@contextmanager
def counted(services: Services) -> Iterator[list[str]]:
    """Collect what is sent to the database but what begins and ends a transaction."""
    seen: list[str] = []

    def note(_connection, _cursor, statement, *_rest):
        if not statement.startswith(("BEGIN", "PRAGMA")):
            seen.append(statement)

    event.listen(services.database.engine, "before_cursor_execute", note)
    yield seen
    event.remove(services.database.engine, "before_cursor_execute", note)


def send(client: TestClient, services: Services, sent: str, day: int) -> None:
    """Ask for a page or write a row, each on a day of its own, or do an operation."""
    if sent in OPERATIONS:
        OPERATIONS[sent](services)
        return
    method, _, path = sent.partition(" ")
    body = None
    if method == "POST":
        words = BODIES[path.removeprefix("/v1/").partition("?")[0]]
        body = {name: value.format(day=f"{day:02}") for name, value in words.items()}
    path = path.replace("{pair}", "oxford")
    answer = client.request(method, path, json=body, follow_redirects=False)
    assert answer.status_code in (200, 201), f"{sent}: {answer.status_code}"


def rows(text: str) -> list[re.Match[str]]:
    return [found for line in text.splitlines() if (found := ROW.match(line))]


@pytest.mark.parametrize("heavy", [False, pytest.param(True, marks=pytest.mark.slow)])
def test_the_table_of_statements_is_true(
    fitted: TestClient, fitted_services: Services, request: pytest.FixtureRequest, *, heavy: bool
):
    column = "sqlite" if request.config.getoption("database") == "sqlite" else "pg"
    days = iter(range(1, 15))
    text, wrong = FILE.read_text("utf-8"), []
    asked = [row for row in rows(text) if (row["sent"] in HEAVY) == heavy]
    assert len(asked) >= len(HEAVY)
    for row in asked:
        for _ in range(2):  # the first time fills what the process keeps
            day = next(days) if row["sent"].startswith("POST") else 0
            with counted(fitted_services) as statements:
                send(fitted, fitted_services, row["sent"], day)
        if str(len(statements)) != row[column]:
            wrong.append(f"{row['sent']}: {row[column]} told, {len(statements)} sent")
            start, end = (place - row.start() for place in row.span(column))
            new = f"{row[0][:start]}{len(statements)}{row[0][end:]}"
            text = text.replace(row[0], new)
    if os.environ.get("SOLESPAN_TEST_RECORD"):
        FILE.write_text(text, "utf-8")
        return
    assert not wrong, "record them again (see this file's head):\n" + "\n".join(wrong)
