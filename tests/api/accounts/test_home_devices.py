"""Does a phone come in by a code, once and in time, and a stranger not at all?"""

from __future__ import annotations

import logging
import re
from collections.abc import Iterator
from functools import cache

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from solespan.api.app import LOOPBACK_HOSTS, create_app
from solespan.api.cli.home_network import home_network
from solespan.api.errors import BadSetting
from solespan.api.services.accounts import home_devices
from solespan.api.services.accounts.home_devices import HomeNetwork
from solespan.api.settings import Settings
from solespan.api.storage.audit import list_audit
from solespan.api.wiring import build_services
from tests.api.accounts.test_access import addresses
from tests.api.accounts.test_security_log import security_lines
from tests.api.service.test_logs import logging_as_the_service_does

HOME = HomeNetwork("http://shoes.local:8000")
PAGE = {"accept": "text/html"}
LINK = re.compile(r"http[s]?://[^<\s]+/connect/[\w-]+")


@cache
def app_at(home: HomeNetwork | None) -> FastAPI:
    """One app for all tests: making it costs more than most of them."""
    hosts = {*LOOPBACK_HOSTS, "shoes.local"}
    given = Settings(
        database_url="sqlite:///never-opened",
        public_address=home.address if home and home.over_tls else None,
    )
    return create_app(given, background=False, home=home, allowed_hosts=hosts)


class Household:
    """A service in a home network, as the machine itself and other devices reach it."""

    def __init__(self, database: str, clock, home: HomeNetwork | None = HOME, **settings) -> None:
        self.home = home
        self.app = app_at(home)
        self.app.state.services = build_services(Settings(database_url=database, **settings), clock)
        scheme = "https" if home is not None and home.over_tls else "http"
        self.machine = self.browser("127.0.0.1", f"{scheme}://127.0.0.1:8000")

    def browser(self, peer: str = "192.168.1.7", base: str = "") -> TestClient:
        base = base or self.home.address
        return TestClient(
            self.app, base_url=base, client=(peer, 50000), raise_server_exceptions=False
        )

    def code(self, by: TestClient | None = None) -> str:
        by = by or self.machine
        by.get("/devices", headers=PAGE)
        made = by.post("/devices/code", data=token(by), headers=PAGE)
        assert made.headers["cache-control"] == "no-store"
        return LINK.search(made.text)[0].rpartition("/")[2]

    def connected(self, peer: str = "192.168.1.7", name: str = "Ada's phone") -> TestClient:
        phone = self.browser(peer)
        assert connect(phone, self.code(), name).status_code == 303
        return phone


def token(client: TestClient) -> dict[str, str]:
    found = [c.value for c in client.cookies.jar if c.name.endswith("form_token")]
    return {"form_token": found[0]} if found else {}


def connect(phone: TestClient, code: str, name: str = "Ada's phone"):
    assert phone.get(f"/connect/{code}", headers=PAGE).status_code == 200
    typed = {"name": name, **token(phone)}
    return phone.post(f"/connect/{code}", data=typed, follow_redirects=False)


@pytest.fixture
def household(new_address: str, clock) -> Iterator[Household]:
    made = Household(new_address, clock)
    yield made
    made.app.state.services.database.close()


def test_a_stranger_in_the_network_gets_nothing(household):
    stranger = household.browser()
    for method, template in addresses(household.machine):
        path = re.sub(r"\{[^}]*\}", "x", template)
        if re.match(
            r"/(connect|assets|app\.webm|sw\.js|calendar|v1/health|answers|bookings|unsub"
            r"|reminders/off|shared)",
            path,
        ):
            continue
        answer = stranger.request(method, path, headers=PAGE, follow_redirects=False)
        assert answer.status_code == 401, (method, path)
        assert "Your rack" not in answer.text


@pytest.mark.parametrize(
    ("peer", "host", "header"),
    [
        ("192.168.1.7", "localhost", {}),
        ("192.168.1.7", "127.0.0.1", {}),
        ("127.0.0.1", "shoes.local", {}),
        ("127.0.0.1", "localhost", {"x-forwarded-for": "127.0.0.1"}),
        ("127.0.0.1", "localhost", {"forwarded": "for=127.0.0.1"}),
    ],
)
def test_only_the_machine_itself_is_believed_by_its_address(household, peer, host, header):
    asked = household.browser(peer, f"http://{host}:8000")
    assert asked.get("/v1/pairs", headers=header).status_code == 401
    assert household.machine.get("/v1/pairs").status_code == 200


def test_behind_a_proxy_the_machine_itself_needs_a_code_too():
    behind = HomeNetwork("https://shoes.example", behind_proxy=True)
    assert HOME.is_this_machine("127.0.0.1", "localhost", {})
    assert not behind.is_this_machine("127.0.0.1", "localhost", {})


def test_a_code_lets_one_device_in_once(household):
    code = household.code()
    phone, other = household.browser(), household.browser("192.168.1.8")
    assert connect(phone, code).status_code == 303
    (cookie,) = [c for c in phone.cookies.jar if c.name == "solespan_home"]
    assert cookie.has_nonstandard_attr("HttpOnly")
    assert not cookie.secure
    assert phone.get("/", headers=PAGE).status_code == 200
    again = connect(other, code)
    assert again.status_code == 422
    assert "used already" in again.text
    assert other.get("/", headers=PAGE).status_code == 401


def test_opening_the_link_uses_nothing_up_and_a_late_code_is_refused(household, clock):
    code, late = household.code(), household.code()
    phone = household.browser()
    for _ in range(3):
        phone.get(f"/connect/{code}", headers=PAGE)
    clock.move(minutes=home_devices.CODE_MINUTES - 1)
    assert connect(phone, code).status_code == 303
    clock.move(minutes=1)
    assert connect(household.browser("192.168.1.9"), late).status_code == 422


def test_guesses_are_counted_by_sender_and_a_good_code_forgets_them(household):
    guesser, phone = household.browser("192.168.1.66"), household.browser()
    said = [connect(guesser, f"guess-{n}").status_code for n in range(7)]
    assert said == [422] * 5 + [429] * 2
    assert connect(guesser, household.code()).status_code == 429
    for _ in range(2):
        assert [connect(phone, "guess").status_code for _ in range(4)] == [422] * 4
        assert connect(phone, household.code()).status_code == 303


def test_a_form_without_the_browsers_token_connects_nobody(household):
    code = household.code()
    phone = household.browser()
    assert phone.post(f"/connect/{code}", data={"name": "x"}).status_code == 422
    foreign = phone.post(
        f"/connect/{code}", data={"name": "x"}, headers={"origin": "http://evil.example"}
    )
    assert foreign.status_code == 403
    assert connect(phone, code).status_code == 303  # it is good still


def test_a_browser_without_tls_names_its_own_site_and_no_other(household):
    phone = household.connected()
    page = phone.get("/", headers=PAGE)
    assert page.headers["referrer-policy"] == "same-origin"  # with none, its origin would be null
    null = phone.post("/wear", data=token(phone), headers={"origin": "null"})
    assert null.status_code == 403


def test_a_device_reads_and_logs_and_manages_nothing(household):
    phone = household.connected()
    added = {"wearer_id": "ada"}
    assert phone.post("/v1/wearers", json=added).status_code == 201
    assert phone.get("/devices", headers=PAGE).status_code == 403
    assert phone.post("/devices/code", data=token(phone)).status_code == 403
    assert phone.get("/v1/members").status_code == 403
    with household.app.state.services.database.reading() as session:
        assert {row["actor"] for row in list_audit(session, after=None, limit=5)} == {
            "device Ada's phone"
        }


def test_a_device_that_is_removed_is_out_at_once_and_a_name_can_change(household):
    phone, other = household.connected(), household.connected("192.168.1.8", "Tablet")
    page = household.machine.get("/devices", headers=PAGE).text
    ids = dict(zip(re.findall(r"<b>([^<]+)</b><p>seen", page), _ids(page), strict=True))
    assert set(ids) == {"Ada&#39;s phone", "Tablet"}
    household.machine.post(
        "/devices/rename",
        data={**token(household.machine), "device_id": ids["Tablet"], "name": "Desk"},
    )
    household.machine.post(
        "/devices/remove", data={**token(household.machine), "device_id": ids["Ada&#39;s phone"]}
    )
    page = household.machine.get("/devices", headers=PAGE).text
    assert "Desk" in page
    assert "Ada" not in page
    assert phone.get("/", headers=PAGE).status_code == 401
    assert other.get("/", headers=PAGE).status_code == 200


def _ids(page: str) -> list[str]:
    return re.findall(r'name="device_id" value="([^"]+)" aria-label', page)


def test_devices_stay_over_a_restart_and_one_that_rests_a_year_is_forgotten(
    household, new_address, clock
):
    phone = household.connected()
    household.app.state.services.database.close()
    later = Household(new_address, clock).browser()
    later.cookies.update(phone.cookies)
    assert later.get("/", headers=PAGE).status_code == 200
    clock.move(days=401)
    assert later.get("/", headers=PAGE).status_code == 401


def test_the_same_phone_again_is_one_device(household):
    phone = household.connected()
    assert connect(phone, household.code(), "Ada's new name").status_code == 303
    page = household.machine.get("/devices", headers=PAGE).text
    assert len(_ids(page)) == 1
    assert "new name" in page


def test_over_tls_the_cookie_is_bound_to_the_host_and_nothing_is_missing(new_address, clock):
    tls = HomeNetwork("https://shoes.local:8000")
    made = Household(new_address, clock, tls, public_address=tls.address)
    phone = made.connected()
    (cookie,) = [c for c in phone.cookies.jar if "home" in c.name]
    assert cookie.name == "__Host-solespan-home"
    assert cookie.secure
    page = made.machine.get("/devices", headers=PAGE).text
    made.app.state.services.database.close()
    assert "There is no certificate" not in page


def test_the_security_log_tells_of_codes_and_devices_without_their_secrets(household, capsys):
    with logging_as_the_service_does():
        logging.getLogger("httpx2").setLevel(logging.WARNING)
        household.connected()
        connect(household.browser(), "wrong")
    said = [line["event"] for line in security_lines(capsys)]
    assert said == ["connection_code_made", "device_connected", "device_refused"]


def test_without_the_home_network_no_code_is_made(new_address, clock):
    alone = Household(new_address, clock, None)
    page = alone.machine.get("/devices", headers=PAGE)
    assert "solespan serve --phone" in page.text
    assert alone.machine.post("/devices/code", data=token(alone.machine)).status_code == 409
    assert connect(alone.machine, "guess").status_code == 422
    alone.app.state.services.database.close()


@pytest.mark.parametrize(
    ("address", "files", "whole", "behind"),
    [
        ("shoes.local", None, "http://shoes.local:8000", False),
        ("shoes.local", ("a", "b"), "https://shoes.local:8000", False),
        ("https://shoes.example", None, "https://shoes.example", True),
        ("https://shoes.example:8000", ("a", "b"), "https://shoes.example:8000", False),
        ("https://shoes.example", ("a", "b"), "https://shoes.example", True),
        (None, None, "http://192.168.1.5:8000", False),
    ],
)
def test_the_address_of_the_home_network(address, files, whole, behind):
    assert home_network(address, "192.168.1.5", 8000, files) == HomeNetwork(whole, behind)


@pytest.mark.parametrize("address", ["http://shoes.local", "shoes.local:9", "a b", ""])
def test_an_address_that_is_none_is_refused(address):
    with pytest.raises(BadSetting):
        home_network(address, "192.168.1.5", 8000, None)
