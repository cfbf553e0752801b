"""Are the parts of the rack's list, one after the other, the whole list, and read no more rows?"""

from __future__ import annotations

import re
from collections.abc import Iterator

import pandas as pd
import pytest
import sqlalchemy as sa
from fastapi.testclient import TestClient

from solespan.api.routes import figures
from solespan.api.routes.rack import home_page
from solespan.api.services.rack import rack_page
from solespan.api.storage.forecasts.forecasts import load_forecasts
from solespan.api.storage.rack.frames import load_frames
from solespan.api.storage.tables.rack import Pair
from solespan.api.storage.tables.results import ForecastRow
from solespan.api.wiring import Services
from solespan.dashboards.pages.rack import rack as pages
from solespan.dashboards.tables import due_list
from tests.api.conftest import MovableClock, serving
from tests.api.storage import big_shop

TODAY = pd.Timestamp(big_shop.TODAY)
SHOWN = re.compile(r'class="who"><a href="/pairs/([^"]+)"')
ROWS = ForecastRow.__table__
PAIRS = 240


@pytest.fixture(scope="module")
def filled(running, databases) -> Iterator[Services]:
    """A shop with pairs of every kind: gone, away, retired, without a date or a forecast."""
    address = databases.copy()
    with serving(running, address, MovableClock()) as services:
        big_shop.fill(services.database, PAIRS)
        with services.database.writing() as session:
            pks = list(session.scalars(sa.select(Pair.id).order_by(Pair.id)))

            def put(place: int, **values: object) -> None:
                mine = ROWS.c.pair_pk.in_(pks[place::9])
                session.execute(sa.update(ROWS).where(mine).values(**values))

            put(0, band="away")
            put(1, band="retired", send_by=None)
            put(2, chance_in_use=0.1)
            put(3, chance_in_use=0.9, due_p10=None)
            put(4, band="book in")
            session.execute(sa.delete(ROWS).where(ROWS.c.pair_pk.in_(pks[5::9])))
        yield services
    databases.drop(address)


@pytest.fixture
def shop(running, filled, monkeypatch) -> TestClient:
    """The client of that shop, whose list has several parts."""
    for module in (pages, home_page, figures):
        monkeypatch.setattr(module, "PAIRS_A_PAGE", 35)
    running.app.state.services = filled
    return running


@pytest.fixture
def whole(filled) -> list[dict]:
    """The whole list as frames and terminal have it."""
    with filled.database.reading() as session:
        forecast, frames = load_forecasts(session), load_frames(session)
    return due_list(forecast, frames["pairs"], frames["wearers"], today=TODAY)


def parts(client, **asked) -> list[str]:
    """Follow the list from part to part, as a browser without scripts does."""
    shown, address = [], client.get("/", params=asked).request.url
    while address is not None:
        text = client.get(str(address)).text
        shown += SHOWN.findall(text)
        following = re.search(r'rel="next" href="([^"#]+)', text)
        address = following and following[1].replace("&amp;", "&")
    return shown


@pytest.mark.parametrize(
    "asked",
    [
        {},
        {"band": "watch"},
        {"band": "retired"},
        {"wearer": "w000003"},
        {"q": "pair 1"},
        {"q": "pAIR", "band": "book in"},
        {"q": "no such pair"},
        {"wearer": "nobody"},
    ],
    ids=str,
)
def test_the_parts_are_the_whole_list_in_its_order(shop, whole, asked):
    words = asked.get("q", "").casefold().split()
    expected = [
        row
        for row in whole
        if asked.get("wearer", row["wearer_id"]) == row["wearer_id"]
        and asked.get("band", row["band"]) == row["band"]
        and all(word in f"{row['pair']} {row['pair_id']}".casefold() for word in words)
    ]
    assert parts(shop, **asked) == [row["pair_id"] for row in expected]
    if expected:
        told = shop.get("/", params=asked).text
        counted = f"{len(expected)} pair{'' if len(expected) == 1 else 's'}"
        due = sum(row["band"] in ("book in", "stop wearing") for row in expected)
        said = re.search(rf'<h1 id="summary">{counted}(.*)</h1>', told)
        assert said
        assert sum(map(int, re.findall(r"\d+", said[1]))) == due


@pytest.mark.parametrize("page", ["0", "-1", "99", "one", "9" * 40, "٣"])
def test_a_part_that_is_not_there_is_the_nearest(shop, page):
    assert shop.get("/", params={"page": page}).status_code == 200


def rows_read(client: TestClient, address: str) -> int:
    """Count the rows that a page's statements give, each asked once more."""
    database = client.app.state.services.database
    asked = []

    def note(_connection, _cursor, statement, params, *_rest):
        if statement.startswith(("SELECT", "WITH")):
            asked.append((statement, params))

    sa.event.listen(database.engine, "before_cursor_execute", note)
    assert client.get(address).status_code == 200
    sa.event.remove(database.engine, "before_cursor_execute", note)
    with database.reading() as session:
        connection = session.connection()
        return sum(len(connection.exec_driver_sql(*one).all()) for one in asked)


def test_a_page_reads_as_many_rows_of_a_large_shop(shop, databases, monkeypatch):
    monkeypatch.setattr(rack_page, "MOST_PEOPLE", 5)
    addresses = ("/", "/?band=watch", "/?page=2", "/rotation", "/figures/resole_dates.json")
    few = [rows_read(shop, address) for address in addresses]
    larger = databases.copy()
    with serving(shop, larger, MovableClock()) as services:
        big_shop.fill(services.database, 4 * PAIRS)
        many = [rows_read(shop, address) for address in addresses]
    databases.drop(larger)
    kinds = 5  # the bands that are there are counted, one row for each
    assert all(of_many <= of_few + kinds for of_many, of_few in zip(many, few, strict=True))


@pytest.mark.parametrize("order", ["name", "worn"])
@pytest.mark.slow
def test_another_order_has_the_same_pairs_once_each_and_stands_as_it_says(shop, whole, order):
    shown = parts(shop, order=order)
    assert sorted(shown) == sorted(row["pair_id"] for row in whole)
    if order == "name":
        names = {row["pair_id"]: row["pair"].lower() for row in whole}
        assert [names[pair] for pair in shown] == sorted(names[pair] for pair in shown)
    else:
        with shop.app.state.services.database.reading() as session:
            days = load_frames(session)["wear_days"].groupby("pair_id")["worn_on"].max()
        last = days.reindex(shown)
        worn = last.dropna()
        assert worn.is_monotonic_decreasing
        assert last.iloc[len(worn) :].isna().all(), "pairs that were never worn stand last"


def test_an_unknown_order_is_the_usual_one(shop):
    assert parts(shop, order="sideways") == parts(shop)
