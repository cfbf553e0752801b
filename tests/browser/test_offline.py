"""Is a wear logged without a network kept on the phone, and sent later exactly once."""

import pytest
from playwright.sync_api import Page

from solespan.api.services.accounts import secrets
from solespan.api.storage.accounts import accounts
from solespan.dashboards.chapters import CHAPTERS
from tests.browser.conftest import ARTEFACTS, wait_until

pytestmark = pytest.mark.browser

TODAY = "2026-11-25"
PASSWORD = "a sentence of my own"


def under_control(page: Page, address: str) -> None:
    """Open a page, and once more when the service worker is there to keep it."""
    page.goto(address)
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    page.reload()
    wait_until(page, "navigator.serviceWorker.controller?.state === 'activated'")


def worn(page: Page, base: str, day: str) -> list[str]:
    answer = page.request.get(f"{base}/v1/wear-days?since={day}&limit=100")
    return sorted(row["pair_id"] for row in answer.json()["items"])


def test_two_wears_logged_without_a_network_become_exactly_two_rows(visit, fresh):
    base = fresh("one wearer")
    opened = visit("about:blank")
    page = opened.page
    page.clock.set_fixed_time(f"{TODAY}T12:00:00Z")
    under_control(page, base)
    assert worn(page, base, TODAY) == []
    page.context.set_offline(True)
    page.reload()
    buttons = page.locator(".rack .tap")
    names = [buttons.nth(i).get_attribute("value") for i in (0, 1)]
    for i in (0, 1):
        buttons.nth(i).click()
        page.wait_for_selector(f"#waiting:has-text('{i + 1} wear')")
    page.evaluate("document.getElementById('said').textContent = ''")
    page.locator(".rack .tap").nth(1).click()  # pressed again: it is kept once
    page.wait_for_selector("#said:has-text('is saved on this device')")
    assert page.inner_text("#waiting p").startswith("2 wears wait on this device")
    page.screenshot(path=ARTEFACTS / "offline-390-light.png")
    assert worn(page, base, TODAY) == []
    page.reload()
    page.wait_for_selector("#waiting:has-text('2 wears wait')")  # a reload loses nothing
    page.context.set_offline(False)
    page.wait_for_selector("#waiting[hidden]", state="attached")
    assert worn(page, base, TODAY) == sorted(names)
    page.reload()
    page.wait_for_load_state("networkidle")
    assert worn(page, base, TODAY) == sorted(names), "nothing is sent twice"


def checks(page: Page, base: str) -> list[tuple[str, str, str]]:
    answer = page.request.get(f"{base}/v1/checks?since={TODAY}&limit=100")
    mine = (row for row in answer.json()["items"] if row["method"] == "thumb")
    return sorted((row["pair_id"], row["foot"], row["grade"]) for row in mine)


def test_a_thumb_check_logged_without_a_network_is_sent_once_and_a_copy_says_so(visit, fresh):
    base = fresh("one wearer")
    page = visit("about:blank").page
    page.clock.set_fixed_time(f"{TODAY}T12:00:00Z")
    under_control(page, base)
    page.goto(base)
    wait_until(page, "await caches.match('/thumb')")
    style = "(await (await caches.open('solespan-files-1')).keys()).some(k => /phone/.test(k.url))"
    wait_until(page, style)
    assert checks(page, base) == []
    page.context.set_offline(True)
    page.reload()
    assert "Offline. This is a copy of" in page.inner_text("#copy")
    pair = page.locator(".rack .tap").nth(1).get_attribute("value")
    page.goto(f"{base}/pairs/{pair}/thumb")
    page.wait_for_url(f"**/thumb?pair={pair}")
    assert page.input_value("#t-pair") == pair
    page.select_option("#t-left-ball", "give")
    page.select_option("#t-right-ball", "firm")
    page.click("button:has-text('Log the thumb check')")
    page.wait_for_selector("#waiting:has-text('1 check waits')")
    page.screenshot(path=ARTEFACTS / "offline-thumb-390-light.png")
    page.goto(f"{base}/plan")
    assert page.inner_text("h1") == "Offline", "no other page stands under this address"
    page.goto(base)
    page.wait_for_selector("#waiting:has-text('1 check waits')")
    page.context.set_offline(False)
    page.wait_for_selector("#waiting[hidden]", state="attached")
    assert checks(page, base) == [(pair, "left", "give"), (pair, "right", "firm")]


def test_what_the_service_refuses_says_why_and_goes_when_told(visit, fresh):
    base = fresh("one wearer")
    page = visit("about:blank").page
    page.clock.set_fixed_time(f"{TODAY}T12:00:00Z")
    under_control(page, base)
    page.goto(f"{base}/thumb")
    page.context.set_offline(True)
    page.click("button:has-text('Log the thumb check')")
    page.wait_for_selector("#waiting:has-text('1 check waits')")
    page.context.set_offline(False)
    page.wait_for_selector("#waiting:has-text('refused: Not logged. No point was felt')")
    page.click("text=Delete what was refused")
    page.wait_for_selector("#waiting[hidden]", state="attached")
    assert checks(page, base) == []


def test_another_person_on_the_same_phone_does_not_send_what_is_not_theirs(visit, fresh):
    base = fresh("one wearer", accounts=True)
    people = ("ada@example.org", "ben@example.org")
    with fresh.app.state.services.database.writing() as session:
        for email in people:
            number = accounts.add_person(
                session, email=email, password_hash=secrets.hash_password(PASSWORD)
            )
            accounts.join(session, user_pk=number, tenant_pk=1, role="staff")
    page = visit("about:blank").page
    page.clock.set_fixed_time(f"{TODAY}T12:00:00Z")
    sign_in(page, base, people[0])
    under_control(page, base)
    page.context.set_offline(True)
    page.reload()
    page.locator(".rack .tap").first.click()
    page.wait_for_selector("#waiting:has-text('1 wear waits')")
    # The session ends without a word, and before the page is left: a page that is being taken down
    # may be told that there is a network again, and would rightly send its own account's wear.
    page.context.clear_cookies()
    page.goto("about:blank")
    page.context.set_offline(False)
    sign_in(page, base, people[1])
    page.wait_for_selector("#waiting:has-text('1 wear of another account waits here')")
    assert not page.is_visible("#waiting [data-send]")
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    page.screenshot(path=ARTEFACTS / "offline-another-390-light.png")
    assert worn(page, base, TODAY) == []
    page.goto(f"{base}/account")
    page.click("text=Sign out")
    page.wait_for_url("**/sign-in")
    sign_in(page, base, people[0])
    page.wait_for_selector("#said:has-text('logged now')")
    assert len(worn(page, base, TODAY)) == 1


def sign_in(page: Page, base: str, email: str) -> None:
    page.goto(f"{base}/sign-in")
    page.fill("#s-email", email)
    page.fill("#s-password", PASSWORD)
    page.press("#s-password", "Enter")
    page.wait_for_selector(".rack .tap")


def test_an_answer_lost_on_the_way_does_not_log_a_second_time(visit, fresh):
    base = fresh("one wearer")
    page = visit("about:blank", service_workers="block").page  # or it may pass the route by
    page.clock.set_fixed_time(f"{TODAY}T12:00:00Z")
    page.goto(base)
    lost, back = [], []

    def lose(route):
        if back:
            route.continue_()
            return
        if not lost:
            lost.append(route.fetch(max_redirects=0))  # the server did its work
        route.abort()

    page.route("**/wear", lose)
    page.locator(".rack .tap").first.click()
    page.wait_for_selector("#waiting:not([hidden])")
    back.append(True)
    page.click("#waiting [data-send]")
    page.wait_for_selector("#waiting[hidden]", state="attached")
    assert lost
    assert len(worn(page, base, TODAY)) == 1


def test_a_network_that_comes_back_while_an_attempt_fails_is_not_missed(visit, fresh):
    base = fresh("one wearer")
    page = visit("about:blank", service_workers="block").page  # or it may pass the route by
    page.clock.set_fixed_time(f"{TODAY}T12:00:00Z")
    page.goto(base)
    back = []

    def fail(route):
        if len(back) > 1:
            route.continue_()
            return
        if back:  # the network is there again before this attempt has failed
            back.append(True)
            page.evaluate("dispatchEvent(new Event('online'))")
        route.abort()

    page.route("**/wear", fail)
    page.locator(".rack .tap").first.click()
    page.wait_for_selector("#waiting:has-text('1 wear waits')")
    back.append(True)
    page.evaluate("dispatchEvent(new Event('online'))")
    page.wait_for_selector("#waiting[hidden]", state="attached")
    assert len(back) == 2, "an attempt failed, and no more was asked for after it"
    assert len(worn(page, base, TODAY)) == 1


def test_the_program_can_be_put_on_a_home_screen(visit, served):
    page = visit(served("one pair")).page
    address = page.get_attribute("link[rel=manifest]", "href")
    manifest = page.evaluate("address => fetch(address).then(a => a.json())", address)
    assert manifest["display"] == "standalone"
    assert manifest["start_url"] == "/"
    sizes = page.evaluate(
        """icons => Promise.all(icons.map(icon => new Promise(done => {
             const picture = new Image();
             picture.onload = () => done(`${picture.naturalWidth}`);
             picture.onerror = () => done('broken');
             picture.src = icon.src; })))""",
        manifest["icons"],
    )
    assert {"192", "512"} <= set(sizes)
    assert "broken" not in sizes


def test_the_help_opens_without_a_network_before_it_was_ever_read(visit, served):
    base = served("one wearer")
    page = visit("about:blank").page
    under_control(page, base)
    wait_until(page, "(await caches.keys()).some(name => name.startsWith('solespan-help-'))")
    page.context.set_offline(True)
    page.goto(f"{base}/help/collector/checks")
    assert page.inner_text("h1") == "Check a sole"
    page.goto(f"{base}/help")
    assert page.locator("main li").count() == len(CHAPTERS)
