"""Can the pages be used: by keyboard, without script, on a phone with one hand."""

import pytest

from tests.browser.conftest import ARTEFACTS
from tests.browser.plotly_css import TARGET, library_css

pytestmark = pytest.mark.browser


def test_everything_essential_is_there_without_script(visit, served):
    for address in ("/", "/pairs/pair-001"):
        opened = visit(served("full") + address, java_script_enabled=False)
        words = opened.page.inner_text("main")
        assert "left first" in words.lower()
        assert "every number in it stands in words" in words
        name = "rack" if address == "/" else "pair"
        opened.page.screenshot(path=ARTEFACTS / f"{name}-without-script.png", full_page=True)


def test_a_wear_day_is_logged_without_script(visit, served):
    opened = visit(served("one pair") + "/pairs/pair-000", java_script_enabled=False)
    page = opened.page
    page.fill("#w-worn_on", "2025-07-18")
    page.check("[name=wet]")
    page.click("text=Log the wear day")
    assert page.inner_text("[role=status]") == "The wear day is logged."
    assert "since 18 July 2025" in page.inner_text("main")


def test_a_thumb_check_is_logged_by_keyboard_alone(visit, served):
    opened = visit(served("one pair") + "/pairs/pair-000")
    page = opened.page
    for _ in range(60):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.closest('form')?.form?.value") == "thumb":
            break
    page.keyboard.press("ArrowRight")  # foot: right
    page.keyboard.press("Tab")  # point: ball is chosen
    page.keyboard.press("Tab")
    page.keyboard.press("Space")  # grade: firm
    page.keyboard.press("ArrowRight")  # give
    page.keyboard.press("Enter")
    page.wait_for_selector("[role=status]")
    assert page.inner_text("[role=status]") == "The check is logged."
    row = page.inner_text("table:has(td:text('thumb')) tbody tr:first-child").split()
    assert row == ["2026-11-25", "right", "ball", "give", "thumb"]


def test_the_first_tab_offers_to_skip_to_the_content(visit, served):
    page = visit(served("one pair") + "/").page
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Skip to the content"


def test_the_figure_library_is_not_loaded_before_a_figure_is_near(visit, served):
    opened = visit(served("200 pairs") + "/")
    opened.page.wait_for_load_state("networkidle")
    assert not any("/assets/plotly." in url and url.endswith(".js") for url in opened.requests)
    opened.draw_everything()
    assert any("/assets/plotly." in url and url.endswith(".js") for url in opened.requests)


def test_a_figure_follows_when_the_theme_changes(visit, served):
    opened = visit(served("full") + "/", theme="light")
    opened.draw_everything()
    colour = "document.querySelector('.xtick text').style.fill"
    before = opened.page.evaluate(colour)
    opened.page.emulate_media(color_scheme="dark")
    opened.page.wait_for_timeout(500)
    assert opened.page.evaluate(colour) != before


def test_a_figure_that_cannot_be_drawn_says_where_its_numbers_are(visit, served):
    opened = visit(served("full") + "/pairs/pair-000")
    opened.page.route("**/figures/**", lambda route: route.abort())
    opened.page.reload()
    opened.draw_everything()
    assert "stands in words" in opened.page.inner_text("[data-status]")


def test_the_styles_served_for_the_figure_library_are_its_own(chromium):
    page = chromium.new_page()
    assert library_css(page) == TARGET.read_text(encoding="utf-8")
    page.close()
