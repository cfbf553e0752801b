"""Is the rack a page for a thumb: pairs on the first screen, few words, still, the same for all?"""

import pytest

from tests.browser.conftest import ARTEFACTS, wait_until
from tests.browser.test_every_page import SMALL_TARGETS, grave_problems

pytestmark = pytest.mark.browser

SIZES = {390: 844, 820: 1180, 1280: 900}
# Layout shifts without a touch are summed from the beginning of the page.
SHIFTS = """
window.shifts = 0;
new PerformanceObserver((list) => {
  for (const one of list.getEntries()) if (!one.hadRecentInput) window.shifts += one.value;
}).observe({ type: "layout-shift", buffered: true });
"""
WHOLE_PAIRS = """() => {
  const bar = document.querySelector("nav.bar");
  const fixed = getComputedStyle(bar).position === "fixed";
  const end = fixed ? bar.getBoundingClientRect().top : innerHeight;
  return [...document.querySelectorAll(".rack > li")]
    .filter((row) => row.getBoundingClientRect().bottom <= end).length;
}"""
WORDS = "() => document.querySelector('main').innerText.split(/\\s+/).filter(Boolean).length"
SCREENS = "() => document.querySelector('main').getBoundingClientRect().bottom / innerHeight"


def opened_at(visit, address, width, theme="light"):
    page = visit("about:blank", width, theme).page
    page.set_viewport_size({"width": width, "height": SIZES[width]})
    page.add_init_script(SHIFTS)
    page.goto(address)
    page.wait_for_load_state("networkidle")
    return page


@pytest.mark.parametrize("width", SIZES)
@pytest.mark.parametrize("situation", ["rack of 14", "rack of one", "no pair", "rack of 200"])
def test_the_page_fits_stands_still_and_is_accessible_in_both_themes(
    visit, served, situation, width
):
    page = opened_at(visit, served(situation), width)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.evaluate(SMALL_TARGETS) == []
    ARTEFACTS.mkdir(exist_ok=True)
    for theme in ("light", "dark"):
        page.emulate_media(color_scheme=theme)
        name = f"{situation.replace(' ', '-')}-page-{width}-{theme}.png"
        page.screenshot(path=ARTEFACTS / name)
        # 60 rows are like 14, but cost the checker much more: one look
        if situation != "rack of 200" or (width, theme) == (390, "dark"):
            assert grave_problems(page) == [], theme
    page.evaluate("scrollTo(0, document.body.scrollHeight)")
    wait_until(page, "scrollY > 0 || document.documentElement.scrollHeight <= innerHeight")
    assert page.evaluate("window.shifts") < 0.05


@pytest.mark.parametrize(("width", "least"), [(390, 4), (1280, 12)])
def test_as_many_pairs_as_there_is_room_for_stand_on_the_first_screen(visit, served, width, least):
    page = opened_at(visit, served("rack of 14"), width)
    assert page.evaluate(WHOLE_PAIRS) >= least


def test_a_rack_of_14_is_three_screens_and_300_words_on_a_phone(visit, served):
    page = opened_at(visit, served("rack of 14"), 390)
    assert page.evaluate(WORDS) <= 300
    assert page.evaluate(SCREENS) <= 3


def test_a_row_of_long_names_still_shows_all_of_a_pair(visit, served):
    page = opened_at(visit, served("rack of 200"), 390)
    assert page.evaluate(WHOLE_PAIRS) >= 3
    heights = page.eval_on_selector_all(".rack > li", "all => all.map(e => e.clientHeight)")
    assert max(heights) < 160


def test_the_list_follows_what_one_types_and_the_text_stays(visit, served):
    page = opened_at(visit, served("rack of 14"), 390)
    page.click(".find summary")
    page.locator("#f-q").press_sequentially("loafer")
    page.wait_for_selector(".rack > li:nth-child(2)")
    wait_until(page, "[...document.querySelectorAll('.who a')].every(e => /loafer/i.test(e.text))")
    assert page.input_value("#f-q") == "loafer"
    assert "q=loafer" in page.url
    page.select_option("#f-order", "name")
    wait_until(page, "location.search.includes('order=name')")
    names = page.eval_on_selector_all(".who a", "all => all.map(e => e.text)")
    assert names == sorted(names, key=str.casefold)


def test_a_pair_not_for_today_is_skipped_and_the_day_has_a_dress_code(visit, fresh):
    page = opened_at(visit, fresh("rack of 14"), 390)
    first = page.inner_text(".wear a")
    page.click(".other summary")
    page.click("button:has-text('Not today')")
    wait_until(page, f"document.querySelector('.wear a').innerText !== {first!r}")
    page.click(".other summary")
    page.select_option("#t-code", "formal")
    page.check("[name=weekly]")
    page.click("button:has-text('Choose again')")
    wait_until(page, "document.querySelector('#today-heading').innerText.includes('formal')")
    page.context.clear_cookies(name="day")
    page.reload()
    assert "formal" in page.inner_text("#today-heading"), "each such weekday has it"


def test_without_script_the_choices_of_the_day_work_too(visit, fresh):
    page = visit(fresh("rack of 14"), java_script_enabled=False).page
    first = page.inner_text(".wear a")
    page.click(".other summary")
    page.click("button:has-text('Not today')")
    assert page.inner_text(".wear a") != first


def test_shop_pages_are_listed_once_somebody_says_that_there_is_a_shop(visit, fresh):
    page = visit(fresh("rack of one"), width=1280).page
    assert page.query_selector("nav a[href='/bench']") is None
    page.click("text=I have a shop")
    page.wait_for_selector("h1:has-text('25 Nov')")  # the day of the shop
    assert page.query_selector(".bar a[href='/bench']") is not None


def test_a_photograph_is_the_picture_of_a_pair_and_a_link_shows_it_to_a_stranger(visit, fresh):
    opened = visit(fresh("rack of one"))
    page = opened.page
    page.click(".who a")
    page.click(".pairhead a[aria-label^='Photographs']")
    drawn = page.locator(".drawn .pic").screenshot()
    page.set_input_files("#p-file", {"name": "a.png", "mimeType": "image/png", "buffer": drawn})
    page.click("text=Keep the photograph")
    page.wait_for_selector(".photos img")
    assert grave_problems(page) == []
    address = page.url.partition("/pair-photographs")[0]
    page.goto(address)
    wait_until(page, "document.querySelector('.rack img.pic').naturalWidth === 224")
    page.click("text=Share with a repairer")
    page.click("text=Make a link")
    link = page.input_value("#s-link")
    assert grave_problems(page) == []
    stranger = visit(link)
    wait_until(stranger.page, "document.querySelector('img.pic').naturalWidth === 224")
    assert grave_problems(stranger.page) == []
    assert stranger.page.evaluate("document.documentElement.scrollWidth") <= 390
    assert stranger.complaints == []
