"""Are the pages of the due list, one after the other, the whole list in its order?"""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from solespan.api.storage.forecasts.forecast_reads import DueFilter, list_due
from tests.api.storage import big_shop

PAIRS = 40


def key(row: dict[str, Any]) -> tuple[Any, ...]:
    return row["send_by"], row["pair_id"], row["foot"], row["point"]


@pytest.fixture
def filled(database):
    """Pairs of which some are due on one day, and some have no date."""
    big_shop.fill(database, PAIRS)
    return database


@pytest.mark.parametrize(
    "chosen",
    [
        DueFilter(),
        DueFilter(foot="pair", point="ball"),
        DueFilter(band="sound"),
        DueFilter(wearer_id="w000003"),
        DueFilter(send_by_before=date(2026, 6, 1)),
    ],
)
@pytest.mark.parametrize("size", [1, 7, 100])
def test_the_pages_are_the_whole_list(filled, chosen, size):
    with filled.reading() as session:
        whole = list_due(session, chosen, after=None, limit=10_000)
        paged, after = [], None
        while page := list_due(session, chosen, after=after, limit=size):
            assert len(page) <= size
            paged += page
            after = key(page[-1])
            if len(paged) > 60 and size == 1:
                break
    assert paged == whole[: len(paged)]
    assert len(paged) in (len(whole), 61)
    assert whole == sorted(whole, key=lambda r: (r["send_by"] or date.max, *key(r)[1:]))
    assert len({key(row) for row in whole}) == len(whole)


def test_the_list_holds_every_row_once(filled):
    with filled.reading() as session:
        assert len(list_due(session, DueFilter(), after=None, limit=10_000)) == PAIRS * 7
