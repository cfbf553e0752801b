"""A shop lets people in, and a customer reaches their own pairs and nothing else."""

from __future__ import annotations

import re

import pyotp
import pytest

from solespan.api.services.accounts import people
from tests.browser.conftest import ARTEFACTS, NOW, THEMES, WIDTHS
from tests.browser.test_every_page import SMALL_TARGETS, grave_problems

pytestmark = pytest.mark.browser
PASSWORD = "a sentence of my own"


def looked_at(opened, name: str, width: int) -> None:
    """Hold a page to what every page promises, in both themes."""
    page = opened.page
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.evaluate(SMALL_TARGETS) == []
    ARTEFACTS.mkdir(exist_ok=True)
    for theme in THEMES:
        page.emulate_media(color_scheme=theme)
        page.screenshot(path=ARTEFACTS / f"{name}-{width}-{theme}.png", full_page=True)
        assert grave_problems(page) == [], (name, theme)


def add_authenticator(opened, width: int) -> str:
    """Add an authenticator to who is signed in; return its seed."""
    page = opened.page
    page.click("text=Add a second factor")
    looked_at(opened, "factor", width)
    page.fill("#b-password", PASSWORD)
    page.press("#b-password", "Enter")
    page.wait_for_selector("#f-code")
    looked_at(opened, "factor-seed", width)
    seed = page.inner_text("section code").replace(" ", "")
    page.fill("#f-code", pyotp.TOTP(seed).at(NOW))
    page.press("#f-code", "Enter")
    page.wait_for_selector("text=Recovery codes")
    looked_at(opened, "factor-codes", width)
    return seed


def enter_with_code(opened, seed: str, width: int) -> None:
    """Sign in by password and by the code after the one that was used."""
    page = opened.page
    page.fill("#s-email", "ada@example.org")
    page.fill("#s-password", PASSWORD)
    page.press("#s-password", "Enter")
    page.wait_for_selector("#c-code")
    looked_at(opened, "code", width)
    page.fill("#c-code", pyotp.TOTP(seed).at(int(NOW.timestamp()) + 30))
    page.press("#c-code", "Enter")
    page.wait_for_url("**/plan")


@pytest.mark.parametrize("width", WIDTHS)
def test_from_the_invitation_to_a_customers_own_page(fresh, visit, width):
    base = fresh("full", accounts=True)
    services = fresh.app.state.services
    with services.database.writing() as session:
        secret = people.invite(session, tenant_pk=1, email="ada@example.org", role="owner", now=NOW)
    opened = visit(f"{base}/join/{secret}", width)
    page = opened.page
    looked_at(opened, "join", width)
    page.fill("#j-password", PASSWORD)
    page.press("#j-password", "Enter")
    page.wait_for_url("**/sign-in")
    looked_at(opened, "sign-in", width)
    page.fill("#s-email", "ada@example.org")
    page.fill("#s-password", PASSWORD)
    page.press("#s-password", "Enter")
    page.wait_for_selector("h1#summary")
    page.goto(base + "/people")
    page.fill("#t-name", "the till")
    page.press("#t-name", "Enter")
    page.wait_for_selector("text=it is not shown again")
    looked_at(opened, "people-key", width)
    page.click("button[value=make]")
    page.wait_for_selector("text=The customer's link")
    link = re.search(r"/open/[\w-]+", page.content())[0]
    page.goto(base + "/account")
    looked_at(opened, "account", width)
    seed = add_authenticator(opened, width)
    page.goto(base + "/people")
    looked_at(opened, "people-factor", width)
    page.goto(base + "/account")
    page.click("main >> text=Sign out >> nth=0")
    page.wait_for_url("**/sign-in")
    page.goto(base + "/plan")
    assert page.url.endswith("/sign-in?to=%2Fplan")
    enter_with_code(opened, seed, width)

    customer = visit(base + link, width)
    looked_at(customer, "open", width)
    customer.page.click("text=Open my pairs")
    customer.page.wait_for_url("**/my")
    looked_at(customer, "my", width)
    customer.page.click("button.tap >> nth=0")
    customer.page.wait_for_selector("text=The wear is logged")
    customer.page.goto(base + "/people")
    assert customer.page.url.endswith("/my")
    for side in (opened, customer):
        assert [c for c in side.complaints if "403" not in c] == []
        assert all(url.startswith((base, "data:")) for url in side.requests)
