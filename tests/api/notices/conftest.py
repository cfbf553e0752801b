"""Which shop, customers, clock and servers do the tests of notices work with?"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta

import pytest
from fastapi.testclient import TestClient

from solespan.api.clock import Clock
from solespan.api.routes.http.pace import Pace
from solespan.api.schemas.notices.consents import ConsentGiven
from solespan.api.schemas.notices.notices import NoticeRules
from solespan.api.services.notices.choices import change_rules
from solespan.api.services.notices.consents import give
from solespan.api.settings import Settings
from solespan.api.wiring import Services, build_services
from tests.api.notices.people import RULES, SECRET, add_customers
from tests.databases import Databases

NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)
BASE = "https://127.0.0.1:8000"  # the public address of its shops begins with https


class MovableClock(Clock):
    """A clock that stands still until it is moved."""

    def __init__(self) -> None:
        super().__init__(now=lambda: self.moment)
        object.__setattr__(self, "moment", NOW)

    def move(self, **by: float) -> None:
        object.__setattr__(self, "moment", self.moment + timedelta(**by))


@pytest.fixture
def clock() -> MovableClock:
    return MovableClock()


def settings_of(address: str, **more: object) -> Settings:
    return Settings(
        database_url=address,
        secret_key=SECRET,
        public_address="https://shop.example",
        smtp_host="127.0.0.1",
        smtp_security="plain",
        smtp_from="bench@shop.example",
        **more,
    )


def fill(services: Services, *, pairs: int = 4) -> None:
    """Write rules, and a few customers of whom two agreed to mail."""
    add_customers(services.database, pairs=pairs)
    with services.database.writing() as session:
        change_rules(session, RULES, None)
        for wearer_id in ("ada", "bo"):
            consent = {"wearer_id": wearer_id, "channel": "mail", "how": "paper", "by": "Mo"}
            give(session, ConsentGiven(**consent), services.clock)


@pytest.fixture
def shop_on(clock: MovableClock) -> Iterator[Callable[..., Services]]:
    """Give a shop with rules and a few customers who agreed, on an empty database."""
    opened: list[Services] = []

    def open_shop(address: str, *, pairs: int = 4, **more: object) -> Services:
        services = build_services(settings_of(address, **more), clock)
        opened.append(services)
        fill(services, pairs=pairs)
        return services

    yield open_shop
    for services in opened:
        services.database.close()


@pytest.fixture(scope="session")
def filled(databases: Databases) -> str:
    """The shop's database, written once."""
    address = databases.copy()
    services = build_services(settings_of(address), MovableClock())
    fill(services)
    services.database.close()
    return address


@pytest.fixture
def shop_address(own_database: Callable[..., str], filled: str) -> str:
    """Address of the shop's database: a copy that this test may change."""
    return own_database(filled)


@pytest.fixture
def shop(shop_address: str, clock: MovableClock) -> Iterator[Services]:
    """The shop on a database that this test may change."""
    services = build_services(settings_of(shop_address), clock)
    yield services
    services.database.close()


@pytest.fixture
def either_shop(shop_on: Callable[..., Services], new_address: str) -> Services:
    """The shop, on an empty database of its own."""
    return shop_on(new_address)


@pytest.fixture(scope="session")
def _running(databases: Databases) -> Iterator[TestClient]:
    from solespan.api.app import create_app

    app = create_app(Settings(database_url=databases.copy()), background=False)
    with TestClient(app, base_url=BASE, raise_server_exceptions=False) as client:
        yield client


@pytest.fixture
def client(_running: TestClient, shop: Services) -> Iterator[TestClient]:
    """The service of the shop."""
    from solespan.api.app import LINK_LOOKS_PER_MINUTE

    before = _running.app.state.services
    _running.app.state.services = shop
    _running.app.state.link_pace = Pace(LINK_LOOKS_PER_MINUTE)
    _running.cookies.clear()
    yield _running
    _running.app.state.services = before


@pytest.fixture
def change(shop: Services) -> Callable[..., NoticeRules]:
    """Change some of the shop's rules."""

    def changed(**rules: object) -> NoticeRules:
        new = RULES.model_copy(update=rules)
        with shop.database.writing() as session:
            change_rules(session, new, None)
        return new

    return changed
