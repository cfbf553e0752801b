"""Can a collector do everything in the pages: add, log, check, plan, send, receive back."""

import json

import pytest
from playwright.sync_api import expect

from solespan.api.services.planning.asked_plans import make_asked
from tests.browser.conftest import ARTEFACTS, wait_until
from tests.browser.test_every_page import SMALL_TARGETS, grave_problems

pytestmark = pytest.mark.browser


def test_the_whole_story_of_a_collector(visit, fresh):  # noqa: PLR0915 - one story
    address = fresh("one wearer")
    opened = visit(address)
    page = opened.page

    said = page.locator("[role=status]")

    def keep(name):
        page.screenshot(path=ARTEFACTS / f"story-{name}-390-light.png", full_page=True)

    page.click(".all a:has-text('Add')")
    page.fill("#a-label", "Chestnut monk")
    page.fill("#a-fitted_on", "2026-06-01")
    page.click("button:has-text('Add the pair')")
    expect(said).to_contain_text("The pair is added")
    own = page.url.partition("?")[0]

    page.click("button:has-text('Worn today')")
    page.wait_for_selector("#logged:has-text('It was wet')")
    page.click("text=It was wet")
    page.wait_for_selector("#logged:has-text('It was dry')")

    page.click(".pairacts a[href$='/thumb']")
    grades = ("firm", "give", "firm", "skip", "firm", "firm", "firm", "skip")
    for number, grade in enumerate(grades, start=1):
        page.wait_for_selector(f"#step:has-text('{number} of {len(grades)}')")
        page.click(f".grades button[value={grade}]")
    page.click("text=Log the thumb check")
    expect(said).to_have_text("The check is logged.")

    opened.unfold()
    page.fill("#r-left", "8,5")
    page.fill("#r-right", "8.75")
    page.select_option("#r-unit", "iron")
    page.click("text=Log the readings")
    page.wait_for_selector("td:text('4.50 mm')", state="attached")

    services = fresh.app.state.services
    services.fitter.refit()
    services.forecaster.update_behind(everyone=True)
    page.reload()
    opened.unfold()
    sentences = page.inner_text(".say")
    assert "New sole due" in sentences
    assert "to come" not in sentences
    opened.draw_everything()
    assert "Ways to a new sole" in page.inner_text("#upkeep")
    keep("pair")
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    assert page.evaluate(SMALL_TARGETS) == []
    assert grave_problems(page) == []

    page.click(".bar a:has-text('Plan')")
    page.fill("#p-weeks", "4")
    page.click("main form[action='/plan'] button[type=submit]")
    page.wait_for_selector("text=Working on your plan")
    make_asked(services)
    page.reload()
    page.wait_for_selector("text=This week")
    page.click(".bar a:has-text('Rack')")
    page.wait_for_url(f"{address}/")
    assert page.locator(".rack > li").count() == 7
    keep("rack")
    page.goto(f"{address}/spread")
    assert "middle estimate" in page.inner_text("#spread").lower()
    assert grave_problems(page) == []

    page.goto(f"{own}/sole")
    page.click("button:has-text('Handed over')")
    expect(page.locator(".facts")).to_contain_text("away")
    page.click("text=Receive back")
    page.fill("#b-thickness", "9")
    page.select_option("#b-unit", "iron")
    page.click("button:has-text('It is back')")
    expect(said).to_have_text("The pair is back.")
    opened.unfold()
    soles = page.inner_text(".soles")
    assert "4.8 mm when new" in soles
    assert "taken off 25 Nov 2026" in soles
    keep("back")
    assert opened.complaints == []
    assert all(url.startswith((address, "data:", "blob:")) for url in opened.requests)


SLOW_3G = {
    "offline": False,
    "latency": 400,  # ms
    "downloadThroughput": 50_000,  # bytes a second
    "uploadThroughput": 50_000,
}


@pytest.mark.parametrize("slow", [False, True], ids=["as it is", "slow 3G, CPU / 4"])
def test_the_first_paint_on_a_phone_is_written_down(visit, served, slow):
    """Not judged here: a shared machine is too noisy. The figures stand in the artefacts."""
    opened = visit("about:blank")
    page = opened.page
    address = served("one wearer")
    page.request.get(address)  # the server's own first answer is no part of it
    if slow:
        throttle = page.context.new_cdp_session(page)
        throttle.send("Network.enable")
        throttle.send("Network.emulateNetworkConditions", SLOW_3G)
        throttle.send("Emulation.setCPUThrottlingRate", {"rate": 4})
    page.goto(address)
    page.wait_for_load_state("load")
    wait_until(page, "performance.getEntriesByName('first-contentful-paint').length")
    measured = page.evaluate(
        """() => ({
          paint_ms: performance.getEntriesByName('first-contentful-paint')[0]?.startTime,
          form_ms: performance.getEntriesByType('navigation')[0].domInteractive,
          page_bytes: performance.getEntriesByType('navigation')[0].encodedBodySize,
          files_bytes: performance.getEntriesByType('resource')
            .reduce((sum, one) => sum + one.encodedBodySize, 0) })"""
    )
    ARTEFACTS.mkdir(exist_ok=True)
    name = f"first-paint-{'slow' if slow else 'plain'}.json"
    (ARTEFACTS / name).write_text(json.dumps(measured, indent=1))
    assert measured["paint_ms"] is not None
    assert not any("/assets/plotly." in url and ".js" in url for url in opened.requests)
