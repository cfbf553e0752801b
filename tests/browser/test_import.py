"""Can a person take a table of their own in a browser, at every width and without a script?"""

import pytest

from tests.api.importing.workbooks import text, xlsx
from tests.browser.conftest import ARTEFACTS
from tests.browser.test_every_page import SMALL_TARGETS, grave_problems

pytestmark = pytest.mark.browser

HEAD = ["Date", "Shoe", "Hours", "Something of a long name that nobody else uses"]
LOG = [
    HEAD,
    ["03/04/2026", "Walnut wholecut with a very long name of its own", 8, "x"],
    ["05/06/2026", "Walnut wholecut with a very long name of its own", 7.5, "y"],
    ["33/06/2026", "Navy monk", 99, "z"],
]


@pytest.mark.parametrize("script", [True, False])
def test_a_table_is_read_chosen_and_taken_half(visit, fresh, script):
    opened = visit(fresh("one pair") + "/import", java_script_enabled=script)
    page = opened.page
    book = {"name": "book.xlsx", "mimeType": "", "buffer": xlsx({"My log": LOG})}
    page.set_input_files("input[type=file]", book)
    page.click("text=Read the files")
    page.wait_for_selector("h1:has-text('How we read it')")
    assert "2 to take, 1 to correct" in page.inner_text(".lead")
    assert "book.xlsx, sheet My log, line 4" in page.inner_text("main")
    if script:
        _look(page, "import-read")
    page.check("input[type=radio][value='month first']")
    page.click("text=Read again with my choices")
    page.wait_for_selector("text=Read again with your choices")
    assert "2026-03-04" in page.inner_text("main")
    with page.expect_download() as download:
        page.click("text=as CSV")
    assert "33/06/2026" in download.value.path().read_text("utf-8-sig")
    page.click("text=Take the 2 good rows")
    page.wait_for_selector("h1:has-text('Imported')")
    if script:
        _look(page, "import-taken")
    page.click("main a:not([href$='/edit']):has-text('Walnut wholecut') >> nth=0")
    page.wait_for_selector("h1:has-text('Walnut wholecut')")
    assert opened.complaints == []


def test_a_table_that_is_none_is_explained_on_the_page(visit, served):
    page = visit(served("one pair") + "/import").page
    picture = {"name": "shoe.csv", "mimeType": "", "buffer": b"\x89PNG\r\n\x1a\n\0\0\0\0" * 9}
    page.set_input_files("input[type=file]", picture)
    page.click("text=Read the files")
    page.wait_for_selector("[role=alert]")
    assert grave_problems(page) == []
    right = {"name": "log.csv", "mimeType": "", "buffer": text(LOG)}
    page.set_input_files("input[type=file]", right)
    page.click("text=Read the files")
    page.wait_for_selector("h1:has-text('How we read it')")


def _look(page, name):
    for fold in page.query_selector_all("details:not([open]) > summary"):
        fold.click()
    for width in (390, 820, 1280):
        page.set_viewport_size({"width": width, "height": 844})
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert page.evaluate(SMALL_TARGETS) == []
        page.screenshot(path=ARTEFACTS / f"{name}-{width}.png", full_page=True)
    for theme in ("light", "dark"):
        page.emulate_media(color_scheme=theme)
        assert grave_problems(page) == [], theme
