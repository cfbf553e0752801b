"""Do two who put something in the same place at the same moment both get an answer?"""

from __future__ import annotations

import threading
from datetime import UTC, date, datetime

import pytest
from sqlalchemy import select

from solespan.api.storage.accounts import accounts, credentials
from solespan.api.storage.bench import stock
from solespan.api.storage.importing.mappings import put_mapping
from solespan.api.storage.planning import planning
from solespan.api.storage.session import open_database
from solespan.api.storage.shop_settings import find_setting, put_setting
from solespan.api.storage.tables.rack import Pair, Wearer

NOW = datetime(2026, 6, 15, tzinfo=UTC)
RULE = {"days": 30}
ITEM = {
    "use": "sole",
    "supply_days": 30,
    "supply_days_sd": 3,
    "service_level": 0.9,
    "review_days": 7,
    "minimum_order": 1,
}
TRAITS = {"upper": "suede", "months": [], "weight": 1.0, "route_id": None}


def _setting(session, wearer_pk, said):
    found = find_setting(session, "shop", lock=True)
    assert put_setting(session, "shop", {"said": said}, found[1] if found else 0)


def _invite(session, wearer_pk, said):
    accounts.put_invitation(
        session,
        tenant_pk=1,
        email="a@example.org",
        role="staff",
        secret_hash=said,
        expires_at=NOW,
        new_password=False,
    )


def _join(session, wearer_pk, said):
    person = accounts.find_person(session, "ada@example.org")
    accounts.join(session, user_pk=person.user_pk, tenant_pk=1, role="owner")


PUTS = {
    "traits": lambda session, _pk, _said: planning.keep_traits(session, "oxford", TRAITS),
    "route": lambda session, pk, said: planning.keep_route(session, pk, "own", {"name": said}),
    "care rule": lambda session, pk, _: planning.keep_rule(session, pk, "suede", "brush", RULE),
    "care": lambda session, *_: planning.keep_care(session, "oxford", "brush", date(2026, 6, 1)),
    "feed": lambda session, pk, said: planning.keep_feed(session, pk, said, NOW),
    "link": lambda session, pk, said: credentials.put_link(
        session, tenant_pk=1, wearer_pk=pk, secret_hash=said, now=NOW
    ),
    "stock": lambda session, *_: stock.put_item(session, "oak", ITEM),
    "mapping": lambda session, _pk, said: put_mapping(session, "headers", {"a": said}, NOW),
    "setting": _setting,
    "invitation": _invite,
    "member": _join,
}


@pytest.mark.parametrize("name", PUTS)
def test_of_two_at_once_the_second_replaces_what_the_first_has_written(new_address, name):
    """The second begins while the first has not committed, and so cannot see what it wrote."""
    one, other = open_database(new_address), open_database(new_address)
    with one.writing() as session:
        session.add(Wearer(wearer_id="ann", pairs=[Pair(pair_id="oxford", construction="blake")]))
        accounts.add_person(session, email="ada@example.org", password_hash="x")
    with one.reading() as session:
        wearer_pk = session.scalar(select(Wearer.id))
    failures = []

    def second() -> None:
        try:
            with other.writing() as session:
                begun.set()
                PUTS[name](session, wearer_pk, "second")
        except Exception as failure:  # noqa: BLE001 - told by the test
            failures.append(failure)

    begun = threading.Event()
    thread = threading.Thread(target=second)
    with one.writing() as session:
        PUTS[name](session, wearer_pk, "first")
        thread.start()
        if one.engine.dialect.name == "postgresql":  # SQLite lets nobody begin meanwhile
            assert begun.wait(120)
            _wait_until_somebody_waits(one, thread)
    thread.join()
    one.close()
    other.close()
    assert failures == []


def _wait_until_somebody_waits(database, thread) -> None:
    """Wait until the server says that a transaction waits for another, or nobody works any more."""
    while thread.is_alive():
        with database.engine.connect() as connection:
            query = "SELECT count(*) FROM pg_locks WHERE NOT granted"
            if connection.exec_driver_sql(query).scalar_one():
                return
