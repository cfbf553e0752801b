"""Does the table of security requirements name every item, and only tests that are there?"""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

TESTS = Path(__file__).parent
DOCUMENT = (TESTS.parent / "docs" / "security.md").read_text("utf-8")
# Items of levels 1 and 2 of OWASP ASVS 5.0.0: how many each section begins with. Items of level 3
# stand behind them.
SECTIONS = {
    1: {1: 2, 2: 9, 3: 11, 4: 3, 5: 2},
    2: {1: 3, 2: 3, 3: 4, 4: 1},
    3: {2: 2, 3: 4, 4: 6, 5: 5, 7: 2},
    4: {1: 3, 2: 1, 3: 2, 4: 4},
    5: {1: 1, 2: 3, 3: 2, 4: 3},
    6: {1: 3, 2: 12, 3: 4, 4: 4, 5: 5, 6: 3, 8: 4},
    7: {1: 3, 2: 4, 3: 2, 4: 5, 5: 2, 6: 2},
    8: {1: 2, 2: 3, 3: 1, 4: 1},
    9: {1: 3, 2: 4},
    11: {1: 2, 2: 3, 3: 3, 4: 4, 5: 1, 6: 1},
    12: {1: 3, 2: 2, 3: 4},
    13: {1: 1, 2: 5, 3: 2, 4: 5},
    14: {1: 2, 2: 4, 3: 3},
    15: {1: 3, 2: 3, 3: 7},
    16: {1: 1, 2: 5, 3: 4, 4: 3, 5: 3},
}
ITEMS = {
    f"{chapter}.{section}.{item}"
    for chapter, sections in SECTIONS.items()
    for section, count in sections.items()
    for item in range(1, count + 1)
}
ROWS = re.findall(r"^\| (\d+\.\d+\.\d+) \| [^|]+ \| ([^|]+) \|$", DOCUMENT, re.MULTILINE)


@cache
def names_in(name: str) -> frozenset[str]:
    """Names of the tests of one file."""
    text = (TESTS / name).read_text("utf-8")
    return frozenset(re.findall(r"^\s*def (test_\w+)", text, re.MULTILINE))


def test_every_item_stands_there_once():
    without = DOCUMENT.partition("## What does not apply")[2]
    listed = [number for number, _ in ROWS] + re.findall(r"\b\d+\.\d+\.\d+\b", without)
    elsewhere = {"10.1.1", "10.7.3", "17.1.1", "17.3.2"}  # two chapters as a whole
    assert sorted(listed) == sorted(ITEMS | elsewhere)


def test_every_test_that_the_table_names_is_there():
    named = re.findall(r"`([\w/]+\.py)::(\w+)`", DOCUMENT)
    assert len(named) > 100
    assert [(file, test) for file, test in named if test not in names_in(file)] == []


def test_what_no_test_holds_is_a_document_or_an_exception():
    for number, held in ROWS:
        assert re.search(r"::test_|^Document: |^Exception: ", held), number
