"""Which service with accounts, and which people and programs, do these tests work with?"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta

import pytest
from argon2 import PasswordHasher
from fastapi.testclient import TestClient

from solespan.api.app import create_app
from solespan.api.clock import Clock
from solespan.api.services.accounts import people, secrets, tokens
from solespan.api.services.accounts.identity import Identity
from solespan.api.settings import Settings
from solespan.api.storage.accounts import accounts
from solespan.api.storage.tables.rack import Pair, Wearer
from solespan.api.wiring import Services, build_services
from tests.databases import Databases

NOW = datetime(2026, 6, 15, 12, tzinfo=UTC)
BASE = "http://127.0.0.1:8000"
PASSWORD = "the last on the left is mine"
OWNER, STAFF, OUTSIDER = "ada@example.org", "ben@example.org", "eve@example.org"


class MovableClock(Clock):
    """A clock that stands still until it is moved."""

    moment = NOW

    def __init__(self) -> None:
        super().__init__(now=lambda: self.moment)

    def move(self, **by: float) -> None:
        object.__setattr__(self, "moment", self.moment + timedelta(**by))


@pytest.fixture(autouse=True, scope="session")
def _quick_hashes() -> Iterator[None]:
    """Hash passwords with few rounds: the real ones are slow by design."""
    with pytest.MonkeyPatch.context() as patch:
        quick = PasswordHasher(time_cost=1, memory_cost=64, parallelism=1)
        patch.setattr("solespan.api.services.accounts.secrets._HASHER", quick)
        yield


@pytest.fixture(scope="session")
def hashed(_quick_hashes: None) -> str:
    """Hash the password once."""
    return secrets.hash_password(PASSWORD)


@pytest.fixture
def clock() -> MovableClock:
    return MovableClock()


@pytest.fixture(scope="session")
def _running(databases: Databases) -> Iterator[TestClient]:
    settings = Settings(database_url=databases.copy(), accounts=True)
    app = create_app(settings, background=False)
    with TestClient(app, base_url=BASE, raise_server_exceptions=False) as client:
        yield client


@pytest.fixture
def services(
    _running: TestClient, new_address: str, clock: MovableClock, hashed: str
) -> Iterator[Services]:
    """Two shops: Ada owns the first and Ben works there, Eve owns the second.

    Each has a customer `carl` with a pair `oxford`.
    """
    services = build_services(Settings(database_url=new_address, accounts=True), clock)
    with services.database.writing() as session:
        other = people.new_tenant(session, tenant_id="other", name="Other", kind="shop")
        for email, tenant_pk, role in (
            (OWNER, 1, "owner"),
            (STAFF, 1, "staff"),
            (OUTSIDER, other, "owner"),
        ):
            user_pk = accounts.add_person(session, email=email, password_hash=hashed)
            accounts.join(session, user_pk=user_pk, tenant_pk=tenant_pk, role=role)
    for number, label in ((1, "mine"), (other, "theirs")):
        with services.database.for_tenant(number).writing() as session:
            pair = Pair(pair_id="oxford", construction="goodyear_welted", label=label)
            session.add(Wearer(wearer_id="carl", name=f"Carl of {label}", pairs=[pair]))
    _running.app.state.services = services
    _running.cookies.clear()
    yield services
    services.database.close()


@pytest.fixture
def client(_running: TestClient, services: Services) -> TestClient:
    del services
    return _running


@pytest.fixture
def token_of(services: Services) -> Callable[..., str]:
    """Give a function that makes an API token of a person with some scopes."""

    def make(email: str, *scopes: str) -> str:
        with services.database.writing() as session:
            person = accounts.find_person(session, email)
            (tenant,) = accounts.tenants_of(session, person.user_pk)
            who = Identity(tenant["pk"], email, frozenset(scopes), user_pk=person.user_pk)
            return tokens.make_token(
                session, who, name=f"{email} {scopes}", scopes=scopes, now=NOW
            )[1]

    return make


@pytest.fixture
def link_of_carl(services: Services) -> str:
    """Make the secret of a customer's link in the first shop."""
    with services.database.writing() as session:
        return tokens.new_link(session, tenant_pk=1, wearer_id="carl", now=NOW)


def bearer(token: str) -> dict[str, str]:
    return {"authorization": f"Bearer {token}"}


def form_token(client: TestClient, address: str) -> str:
    """Load a page and return the token of its forms."""
    page = client.get(address)
    return re.search(r'name="form_token" value="([^"]+)"', page.text)[1]


def sign_in(client: TestClient, email: str, password: str = PASSWORD):
    """Sign a browser in by the form."""
    typed = {
        "form_token": form_token(client, "/sign-in"),
        "email": email,
        "password": password,
        "to": "/",
    }
    return client.post("/sign-in", data=typed, follow_redirects=False)


@pytest.fixture
def enter():
    return sign_in


@pytest.fixture
def open_as_customer(client: TestClient) -> Callable[[str], None]:
    """Give a function that lets the browser in by a customer's link."""

    def go(secret: str) -> None:
        typed = {"form_token": form_token(client, f"/open/{secret}")}
        answer = client.post(f"/open/{secret}", data=typed, follow_redirects=False)
        assert answer.headers["location"] == "/my"

    return go
