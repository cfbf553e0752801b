"""A person adds a passkey in a real browser, and comes in by it, after a password or without."""

from __future__ import annotations

from urllib.parse import urlsplit

import pytest

from solespan.api.services.accounts.secrets import hash_password
from solespan.api.storage.accounts import accounts
from solespan.api.wiring import build_services
from tests.browser.conftest import WIDTHS
from tests.browser.test_accounts import PASSWORD, looked_at

pytestmark = pytest.mark.browser
EMAIL = "ada@example.org"
DEVICE = {
    "protocol": "ctap2",
    "transport": "internal",
    "hasResidentKey": True,
    "hasUserVerification": True,
    "isUserVerified": True,
    "automaticPresenceSimulation": True,
}


@pytest.fixture
def base(fresh) -> str:
    """Serve a shop with an owner at a host name, as passkeys belong to one."""
    port = urlsplit(fresh("full", accounts=True)).port
    address = f"http://localhost:{port}"
    state = fresh.app.state
    known = state.services.settings.model_copy(update={"public_address": address})
    state.services = build_services(known, state.services.clock)
    with state.services.database.writing() as session:
        kept = hash_password(PASSWORD)
        user_pk = accounts.add_person(session, email=EMAIL, password_hash=kept)
        accounts.join(session, user_pk=user_pk, tenant_pk=1, role="owner")
    return address


def device_of(page):
    """Give a page's browser a device that makes passkeys; return what it is told by."""
    told = page.context.new_cdp_session(page)
    told.send("WebAuthn.enable", {"enableUI": False})
    made = told.send("WebAuthn.addVirtualAuthenticator", {"options": DEVICE})
    return told, {"authenticatorId": made["authenticatorId"]}


def look(opened, name: str) -> None:
    for width in WIDTHS:
        opened.page.set_viewport_size({"width": width, "height": 844})
        looked_at(opened, name, width)


def give_password(page) -> None:
    page.fill("#s-email", EMAIL)
    page.fill("#s-password", PASSWORD)
    page.press("#s-password", "Enter")


def test_a_passkey_is_added_and_signs_in_after_a_password_and_without(base, visit):
    opened = visit(f"{base}/sign-in")
    page = opened.page
    told, device = device_of(page)
    page.reload()
    look(opened, "sign-in-passkey")
    give_password(page)
    page.wait_for_url(f"{base}/")
    page.goto(f"{base}/account/second-factor")
    look(opened, "passkey")
    page.fill("#k-password", "not the one")
    page.press("#k-password", "Enter")
    page.wait_for_selector("text=The password is wrong")
    page.fill("#k-password", PASSWORD)
    page.press("#k-password", "Enter")
    page.wait_for_selector("text=Recovery codes")
    look(opened, "passkey-codes")
    page.goto(f"{base}/account/second-factor")
    page.wait_for_selector("text=This device")
    look(opened, "passkeys")

    page.goto(f"{base}/account")
    page.click("main >> text=Sign out >> nth=0")
    page.wait_for_url("**/sign-in")
    told.send("WebAuthn.setUserVerified", {**device, "isUserVerified": False})
    page.click("text=Use a passkey")
    page.wait_for_selector("text=It was cancelled, or took too long")
    told.send("WebAuthn.setUserVerified", {**device, "isUserVerified": True})
    page.click("text=Use a passkey")
    page.wait_for_url(f"{base}/")

    page.goto(f"{base}/account")
    page.click("main >> text=Sign out >> nth=0")
    page.wait_for_url("**/sign-in")
    page.goto(f"{base}/plan")
    give_password(page)
    page.wait_for_selector("#c-code")
    look(opened, "code-passkey")
    page.click("text=Use a passkey")
    page.wait_for_url("**/plan")
    (key,) = told.send("WebAuthn.getCredentials", device)["credentials"]
    assert key["rpId"] == "localhost"
    assert [line for line in opened.complaints if "401" not in line] == []


def test_without_scripts_an_authenticator_is_there(base, visit):
    opened = visit(f"{base}/sign-in", java_script_enabled=False)
    page = opened.page
    assert not page.is_visible("text=Use a passkey")
    give_password(page)
    page.goto(f"{base}/account/second-factor")
    assert not page.is_visible("text=Add a passkey")
    page.click("text=Add an authenticator")
    page.fill("#b-password", PASSWORD)
    page.press("#b-password", "Enter")
    assert page.is_visible("#f-code")
