"""Can past days be logged in a moment: yesterday, and a month of boxes, on a phone and a desk."""

from __future__ import annotations

from datetime import date

import pytest

from solespan.api.services.rack.records import delete
from tests.browser.conftest import wait_until
from tests.browser.test_every_page import grave_problems
from tests.browser.test_offline import TODAY, under_control, worn

pytestmark = pytest.mark.browser

SIZES = """() => [...document.querySelectorAll('.month [name=worn]')]
  .filter(e => e.checkVisibility()).map(e => e.getBoundingClientRect())
  .map(box => Math.min(box.width, box.height))"""


def november(page, base):
    """How many days of November are logged, of every pair."""
    return len(worn(page, base, "2026-11-01"))


@pytest.mark.parametrize(("width", "target_px"), [(390, 44), (1280, 24)])
def test_thirty_days_are_ticked_and_saved_at_once(visit, fresh, width, target_px):
    base = fresh("one wearer")
    opened = visit(f"{base}/log", width)
    page = opened.page
    before = november(page, base)
    free = page.locator(".month [name=worn]:not(:checked)")
    boxes = [free.nth(n).get_attribute("value") for n in range(free.count())]
    ticked = 0
    for week in range(5):
        if width < 1120:
            page.locator(".weeks .option").nth(week).click()
        for value in boxes:
            box = page.locator(f".month [value='{value}']")
            if ticked < 30 and box.is_visible() and not box.is_checked():
                box.check()
                ticked += 1
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert min(page.evaluate(SIZES)) >= target_px
    assert page.inner_text(".save button") == "Save 30 changes"
    assert grave_problems(page) == []
    page.click(".save button")
    page.wait_for_selector("#said:has-text('30 days logged.')")
    assert november(page, base) == before + 30
    assert page.inner_text(".save button") == "Save"
    assert opened.complaints == []


def test_the_arrow_keys_move_over_weeks_and_the_space_bar_ticks(visit, fresh):
    base = fresh("one wearer")
    page = visit(f"{base}/log", 390).page
    focused = "document.activeElement.getAttribute('aria-label')"
    page.locator(".weeks [value='4']").focus()
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")  # past the name of the first pair
    assert page.evaluate(focused).endswith("Wed 25 November"), "the Tab key stops at today"
    for _ in range(3):
        page.keyboard.press("ArrowLeft")
    assert page.evaluate(focused).endswith("Sun 22 November"), "in the week before"
    assert page.locator(".weeks [value='3']").is_checked()
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Space")
    assert page.inner_text(".save button") == "Save 1 change"
    page.keyboard.press("End")
    assert page.evaluate(focused).endswith("Wed 25 November")


def test_without_script_a_month_is_saved_and_a_rich_day_asked_about(visit, fresh):
    base = fresh("one wearer")
    page = visit(f"{base}/log", 390, java_script_enabled=False).page
    before = november(page, base)
    page.locator(".weeks .option").nth(1).click()
    free = page.locator(".month [name=worn]:not(:checked):visible")
    free.first.check()
    page.click(".save button")
    assert page.inner_text("#said") == "1 day logged."
    assert november(page, base) == before + 1
    wet = page.locator(".month .more").first.get_attribute("value")
    page.set_viewport_size({"width": 1280, "height": 844})
    page.locator(f".month [value='{wet}']").uncheck()
    page.click(".save button")
    assert "Delete them with all that is logged" in page.inner_text(".month .strip")
    assert november(page, base) == before + 1
    page.click("text=Save and delete them")
    assert page.inner_text("#said") == "1 day deleted."


def test_yesterday_is_one_tap_also_without_a_network(visit, fresh):
    base = fresh("one wearer")
    page = visit("about:blank").page
    page.clock.set_fixed_time(f"{TODAY}T12:00:00Z")
    with fresh.app.state.services.database.writing() as session:
        for pair_id in worn(page, base, "2026-11-24"):
            key = {"pair_id": pair_id, "worn_on": date(2026, 11, 24)}
            delete(session, "wear_days", key, versions=None)
    under_control(page, base)
    page.context.set_offline(True)
    page.reload()
    page.click("#today .other > summary")
    tap = page.locator("#today [form=wear-yesterday]").first
    pair_id = tap.get_attribute("value")
    tap.click()
    page.wait_for_selector("#waiting:has-text('on 2026-11-24')")
    page.context.set_offline(False)
    page.wait_for_selector("#waiting[hidden]", state="attached")
    assert worn(page, base, "2026-11-24") == [pair_id]
    page.reload()
    page.wait_for_selector("#today:has-text('Worn yesterday: ')")
    wait_until(page, "!document.querySelector('#today [form=wear-yesterday]')")
