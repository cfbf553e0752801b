"""Do pages still answer whose database takes no writes, and what is told where it is away?"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack

import pytest
from sqlalchemy import event, func, select

from solespan.api.settings import Settings
from solespan.api.storage.session import Database, open_database
from solespan.api.storage.tables.accounts import BrowserSession
from solespan.api.storage.tables.history import Revision
from solespan.api.storage.tables.rack import Wearer
from solespan.api.wiring import Services, build_services
from tests.api.accounts.conftest import OWNER, form_token
from tests.api.accounts.test_access import addresses, bearer

HTML = {"accept": "text/html"}
MOST_ROWS = 400


@pytest.fixture
def hasty(client, services, new_address, clock) -> Iterator[Services]:
    """The same shops, by a service that waits for other writers for a moment only."""
    settings = Settings(database_url=new_address, accounts=True, database_wait_s=0.1)
    hasty = build_services(settings, clock)
    client.app.state.services = hasty
    yield hasty
    hasty.database.close()


def _lock(database: Database, stack: ExitStack) -> None:
    """Let another process hold the database, or on PostgreSQL the tables that all write to."""
    other = open_database(str(database.engine.url.render_as_string(hide_password=False)))
    stack.callback(other.close)
    session = stack.enter_context(other.writing())
    if other.engine.dialect.name == "postgresql":
        for table in ("browser_sessions", "api_tokens", "wearers"):
            session.connection().exec_driver_sql(f"LOCK TABLE {table} IN EXCLUSIVE MODE")


def _refuse_writes(database: Database, _stack: ExitStack) -> None:
    sqlite = database.engine.dialect.name == "sqlite"
    words = "PRAGMA query_only = ON" if sqlite else "SET default_transaction_read_only = on"
    _on_each_connection(database, words)


def _fill_the_disk(database: Database, _stack: ExitStack) -> None:
    if database.engine.dialect.name != "sqlite":
        pytest.skip("a full disk of the server cannot be made from here")
    _on_each_connection(database, "PRAGMA max_page_count = 1")  # = as many as there are


def _on_each_connection(database: Database, words: str) -> None:
    def say(connection, _record):
        connection.execute(words)
        connection.commit()

    event.listen(database.engine, "connect", say)
    database.engine.dispose()


@pytest.fixture(params=[_lock, _refuse_writes, _fill_the_disk], ids=["locked", "read-only", "full"])
def broken(request, hasty) -> Iterator[Callable[[], None]]:
    """Give a function that lets no write to the database pass any more."""
    with ExitStack() as stack:
        yield lambda: request.param(hasty.database, stack)


@pytest.mark.slow
def test_who_is_signed_in_reads_every_page_while_nothing_can_be_written(
    client, hasty, clock, enter, broken
):
    enter(client, OWNER)
    found = [path for method, path in addresses(client) if method == "GET" and "{" not in path]
    pages = [path for path in found if not path.startswith("/v1")]
    assert len(pages) > 20
    before = {path: client.get(path, headers=HTML).status_code for path in pages}
    assert max(before.values()) < 500
    clock.move(minutes=2)
    broken()
    after = {path: client.get(path, headers=HTML).status_code for path in pages}
    assert after == before


def test_a_token_reads_while_nothing_can_be_written(client, token_of, hasty, clock, broken):
    token = bearer(token_of(OWNER, "read"))
    broken()
    clock.move(minutes=2)
    assert client.get("/v1/wearers", headers=token).status_code == 200


def test_a_change_is_refused_for_now_and_what_was_acknowledged_is_there(
    client, token_of, hasty, enter, broken, request
):
    token = bearer(token_of(OWNER, "read", "write"))
    enter(client, OWNER)
    typed = {"form_token": form_token(client, "/add")}
    broken()
    taken = 0
    for number in range(MOST_ROWS):  # a full disk has some room left in its last pages
        answer = client.post("/v1/wearers", json={"wearer_id": f"new-{number}"}, headers=token)
        if answer.status_code != 201:
            break
        taken += 1
    assert answer.json()["type"] in ("/problems/busy", "/problems/unavailable")
    page = client.post("/sign-out", data=typed, headers=HTML, follow_redirects=False)
    if taken == 0:
        assert "<h1>" in page.text
        assert page.status_code == 503
        assert int(page.headers["retry-after"]) >= 1
    assert answer.status_code == 503
    assert int(answer.headers["retry-after"]) >= 1
    assert "readonly" not in answer.text + page.text
    assert "SOLESPAN_" not in answer.text + page.text
    with hasty.database.reading() as session:
        assert session.scalar(select(func.count(Wearer.id))) == 1 + taken
        assert session.scalar(select(func.count(Revision.id))) == 1 + taken


def test_a_session_is_noted_as_used_once_writes_pass_again(client, hasty, clock, enter):
    enter(client, OWNER)
    clock.move(minutes=5)
    with ExitStack() as stack:
        _lock(hasty.database, stack)
        client.get("/account", headers=HTML)
    client.get("/account", headers=HTML)
    with hasty.database.reading() as session:
        assert session.scalar(select(BrowserSession.used_at)) == clock.now()


def test_a_database_that_is_away_is_told_in_few_words_and_its_cause_in_the_log(
    client, hasty, enter, token_of, monkeypatch, caplog
):
    enter(client, OWNER)
    token = bearer(token_of(OWNER, "read"))

    def refuse(*_args, **_kwargs):
        raise hasty.database.engine.dialect.loaded_dbapi.OperationalError(
            "nobody answers at 10.9.8.7"
        )

    event.listen(hasty.database.engine, "do_connect", refuse)
    hasty.database.engine.dispose()
    for path in ("/", "/log", "/account"):
        page = client.get(path, headers=HTML)
        assert page.status_code == 503
        assert page.headers["content-type"].startswith("text/html")
        assert "10.9.8.7" not in page.text
    client.cookies.clear()
    for path in ("/v1/wearers", "/v1/health/ready"):
        answer = client.get(path, headers=token)
        assert answer.status_code == 503
        assert answer.json()["type"] == "/problems/unavailable"
        assert "10.9.8.7" not in answer.text
        assert int(answer.headers["retry-after"]) >= 1
    assert "nobody answers at 10.9.8.7" in caplog.text
