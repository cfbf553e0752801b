"""Can the pages be used: by keyboard, without script, on a phone with one hand."""

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import ARTEFACTS, wait_until
from tests.browser.plotly_css import TARGET, library_css

pytestmark = pytest.mark.browser


def test_everything_essential_is_there_without_script(visit, served):
    for address in ("/", "/pairs/pair-001"):
        opened = visit(served("full") + address, java_script_enabled=False)
        words = opened.page.inner_text("main")
        if address != "/":
            assert "the left shoe goes first" in words.lower()
            assert opened.page.locator("svg.fig:visible").count() == 1
        name = "rack" if address == "/" else "pair"
        opened.page.screenshot(path=ARTEFACTS / f"{name}-without-script.png", full_page=True)


def test_a_wear_day_is_logged_without_script(visit, served):
    opened = visit(served("one pair") + "/pairs/pair-000", java_script_enabled=False)
    page = opened.page
    page.click("#log-wear > summary")
    page.fill("#w-worn_on", "2025-07-18")
    page.check("[name=wet]")
    page.click("text=Log the wear day")
    expect(page.locator("[role=status]")).to_have_text("The wear day is logged.")
    page.click("#log-wear > summary")
    assert "since 18 July 2025" in page.inner_text("main")


@pytest.mark.parametrize("scripts", [True, False])
def test_a_wear_day_is_corrected_deleted_and_brought_back(visit, fresh, scripts):
    opened = visit(fresh("one wearer") + "/pairs/pair-000/records", java_script_enabled=scripts)
    page = opened.page
    before = page.inner_text("#wears + ul")
    page.locator("#wears + ul a").first.click()
    page.fill("#x-hours", "5.5")
    page.click("text=Keep the changes")
    expect(page.locator("[role=status]")).to_have_text("The changes are kept.")
    assert "→ 5.5" in page.inner_text("main")
    page.click("form[action$='/delete'] button")
    expect(page.locator("[role=status]")).to_have_text("Deleted.")
    assert page.inner_text("#wears + ul") != before
    page.click("[aria-label=Undo] button")
    expect(page.locator("[role=status]")).to_have_text("Undone.")
    assert "5.5 h" in page.locator("#wears + ul li").first.inner_text()
    page.goto(page.url.partition("/pairs")[0] + "/history")
    page.locator("li:has-text('Changed: wear day') button").first.click()
    page.go_back()
    page.goto(page.url.partition("/history")[0] + "/pairs/pair-000/records")
    assert page.inner_text("#wears + ul") == before


def tab_to(page, selector, most=80):
    """Press Tab until the focus is on what `selector` names."""
    for _ in range(most):
        if page.evaluate("selector => document.activeElement.matches(selector)", selector):
            return
        page.keyboard.press("Tab")
    raise AssertionError(f"{selector} is not reached by keyboard")


def test_a_thumb_check_is_logged_by_keyboard_alone(visit, served):
    opened = visit(served("one pair") + "/pairs/pair-000")
    page = opened.page
    tab_to(page, "a[href$='/thumb']")
    page.keyboard.press("Enter")
    page.wait_for_url("**/thumb")
    for step, grade in ((1, "firm"), (2, "give")):
        page.wait_for_selector(f"#step:has-text('{step} of 8')")
        tab_to(page, f".grades button[value={grade}]")
        page.keyboard.press("Enter")
    page.wait_for_selector("#step:has-text('3 of 8')")
    assert page.evaluate("document.activeElement.id") == "step", "the next step has the focus"
    for move, step in ((page.go_back, 2), (page.go_forward, 3)):
        move()
        page.wait_for_selector(f"#step:has-text('{step} of 8')")
        page.wait_for_load_state()  # the page is loaded anew: its script hears of the next move
    tab_to(page, "button[name=end]")
    page.keyboard.press("Enter")
    page.wait_for_selector(".felt")
    tab_to(page, "button[type=submit]")
    page.keyboard.press("Enter")
    page.wait_for_selector("#said:has-text('The check is logged.')")
    page.click("#log-check > summary")
    row = page.inner_text("#log-check table tbody tr:first-child").split()
    assert row == ["25", "Nov", "2026", "left", "ball", "give", "thumb"]


def test_a_thumb_check_is_guided_without_script(visit, served):
    opened = visit(served("full") + "/pairs/pair-002/thumb", java_script_enabled=False)
    page = opened.page
    grades = ("firm", "soft", "skip", "skip", "firm", "give", "skip", "skip")
    for number, grade in enumerate(grades, start=1):
        page.wait_for_selector(f"#step:has-text('{number} of 8')")
        page.click(f".grades button[value={grade}]")
    assert page.inner_text(".felt").split("\n")[:2] == ["left, waist", "firm"]
    page.click("text=Log the thumb check")
    expect(page.locator("[role=status]")).to_have_text("The check is logged.")


def test_a_wear_is_logged_changed_and_undone_by_keyboard_alone(visit, fresh):
    page = visit(fresh("one wearer")).page
    tab_to(page, ".pick button")
    page.keyboard.press("Enter")
    page.wait_for_selector("#logged:not([hidden])")
    assert page.evaluate("document.activeElement.id") == "logged-first"
    page.keyboard.press("Enter")
    page.wait_for_selector("#logged:has-text(', wet,') , #logged:has-text(': wet,')")
    tab_to(page, "#logged form[action$=undo] button")
    page.keyboard.press("Enter")
    page.wait_for_selector("#said:has-text('taken back')")
    assert page.query_selector(".did") is None


def test_the_rest_of_the_page_stays_when_a_wear_is_logged(visit, fresh):
    page = visit(fresh("one wearer")).page
    page.click(".find > summary")
    page.evaluate("document.querySelector('#f-q').value = 'half typed'")  # nothing is searched yet
    page.locator(".rack .tap").first.click()
    page.wait_for_selector(".did")
    assert page.input_value("#f-q") == "half typed"
    assert page.query_selector_all(".did"), "the row says so"


def test_without_script_a_tap_does_the_same(visit, fresh):
    page = visit(fresh("one wearer"), java_script_enabled=False).page
    page.locator(".pick button").click()
    expect(page.locator("[role=status]")).to_have_text("The wear is logged.")
    page.click("text=It was wet")
    expect(page.locator("#logged p")).to_contain_text(": wet,")
    page.click("text=Undo")
    expect(page.locator("[role=status]")).to_contain_text("taken back")


def test_files_are_imported_without_script_after_their_report(visit, fresh, tmp_path):
    page = visit(fresh("no pair") + "/import", java_script_enabled=False).page
    files = {
        "pairs.csv": "pair_id,wearer_id,label,construction\np-1,cy,Oxford,blake\n",
        "soles.csv": "sole_id,pair_id,fitted_on,material,nominal_thickness_mm\n"
        "s-1,p-1,2026-01-02,rubber,5\n",
        "wear_days.csv": "pair_id,worn_on,hours\np-1,2026-02-01,8\np-1,2026-02-02,99\n",
    }
    for name, text in files.items():
        (tmp_path / name).write_text(text)
    page.set_input_files("#i-files", [tmp_path / name for name in files])
    page.click("text=Read the files")
    expect(page.locator("main")).to_contain_text("wear_days.csv, line 3, hours")
    page.screenshot(path=ARTEFACTS / "import-report-390-light.png", full_page=True)
    page.click("text=Take the 3 good rows")
    expect(page.locator("main")).to_contain_text("Taken: 3 new")
    page.click("text=To the rack")
    expect(page.locator(".rack")).to_contain_text("Oxford")


def test_a_dropped_folder_is_read(visit, fresh):
    page = visit(fresh("no pair") + "/import").page
    page.evaluate(
        """() => {
          const taken = new DataTransfer();
          const pairs = 'pair_id,wearer_id,construction\\np-1,cy,blake\\n';
          const soles = 'sole_id,pair_id,fitted_on,material,nominal_thickness_mm\\n';
          taken.items.add(new File([pairs], 'pairs.csv'));
          taken.items.add(new File([soles], 'soles.csv'));
          taken.items.add(new File(['x'], 'notes.txt'));
          window.dispatchEvent(new DragEvent('drop', { dataTransfer: taken, cancelable: true }));
        }"""
    )
    page.wait_for_url("**/import/*")
    assert "1 new or changed" in page.inner_text("main")


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
    page = opened.page
    colour = "document.querySelector('.xtick text').style.fill"
    before = page.evaluate(colour)
    drawn_anew(page, lambda: page.emulate_media(color_scheme="dark"))
    assert page.evaluate(colour) != before


def drawn_anew(page, change):
    """Make a change that every figure follows, and wait until each has."""
    page.evaluate(
        """() => { window.followed = 0;
          window.drawn = [...document.querySelectorAll('.plot')].filter(plot => plot.once);
          for (const plot of drawn) plot.once('plotly_relayout', () => { followed += 1; }); }"""
    )
    change()
    wait_until(page, "followed === drawn.length")


def test_a_figure_keeps_its_height_when_window_and_theme_change(visit, served):
    opened = visit(served("full") + "/pairs/pair-001", width=1280)
    opened.draw_everything()
    opened.read_values()
    page = opened.page
    heights = "[...document.querySelectorAll('.plot .main-svg')].map(e => e.clientHeight)"
    before = page.evaluate(heights)
    drawn_anew(page, lambda: page.set_viewport_size({"width": 1100, "height": 700}))
    drawn_anew(page, lambda: page.emulate_media(color_scheme="dark"))
    drawn_anew(page, lambda: page.set_viewport_size({"width": 1280, "height": 900}))
    assert page.evaluate(heights) == before


def test_a_figure_that_cannot_be_drawn_says_where_its_numbers_are(visit, served):
    opened = visit(served("full") + "/pairs/pair-000", service_workers="block")
    opened.page.route("**/figures/**", lambda route: route.abort())
    opened.page.reload()
    opened.page.click("[data-read]")
    opened.page.wait_for_selector("[data-status]:has-text('also in words')")
    assert opened.page.locator("svg.fig:visible").count() == 1, "the drawing stays"


def test_the_styles_served_for_the_figure_library_are_its_own(chromium):
    page = chromium.new_page()
    assert library_css(page) == TARGET.read_text(encoding="utf-8")
    page.close()
