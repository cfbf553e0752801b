"""Does every page keep the promises of all pages, at both widths and in both themes."""

import re

import pytest
from axe_playwright_python.sync_playwright import Axe

from tests.browser.conftest import ARTEFACTS, THEMES, WIDTHS

pytestmark = pytest.mark.browser

PAGES = [
    ("full", "/"),
    ("full", "/pairs/pair-001"),
    ("full", "/?band=nothing"),
    ("full", "/pairs/nobody"),
    ("full", "/plan"),
    ("full", "/bench"),
    ("full", "/workload"),
    ("no pair", "/bench"),
    ("no pair", "/"),
    ("long names", "/"),
    ("long names", "/pairs/pair-000"),
    ("200 pairs", "/"),
]
SMALL_TARGETS = """
() => [...document.querySelectorAll('a, button, input, select, summary, label.option')]
  .filter(e => !e.closest('.plot') && !(e.matches('input') && e.closest('label.option')))
  .filter(e => !(e.matches('a') && e.closest('p:not(.back):not(.none p)') && !e.matches('.button')))
  .filter(e => e.type !== 'hidden' && e.checkVisibility() && !e.matches('.skip'))
  .map(e => [e.outerHTML.slice(0, 120), e.getBoundingClientRect()])
  .filter(([, box]) => box.height < 44 || box.width < 44)
  .map(([html, box]) => `${html} ${box.width}x${box.height}`)
"""


# The two pages that hold everything are looked at in every way, the others in two.
LOOKS = [
    (situation, address, width, theme)
    for situation, address in PAGES
    for width in WIDTHS
    for theme in THEMES
    if (situation, address) in PAGES[:2] or (width, theme) in ((390, "light"), (1280, "dark"))
]


@pytest.mark.parametrize("look", LOOKS, ids=str)
def test_draws_without_complaint_fits_and_is_accessible(visit, served, look):
    situation, address, width, theme = look
    base = served(situation)
    opened = visit(base + address, width, theme)
    opened.draw_everything()
    page = opened.page
    name = re.sub(r"\W+", "-", f"{situation}{address}").strip("-")
    ARTEFACTS.mkdir(exist_ok=True)
    page.screenshot(path=ARTEFACTS / f"{name}-{width}-{theme}.png", full_page=True)
    expected = [c for c in opened.complaints if not ("404" in c and "nobody" in address)]
    assert expected == [], "no script error and no violation of the security policy"
    assert all(url.startswith((base, "data:", "blob:")) for url in opened.requests)
    drawn = page.eval_on_selector_all("[data-drawn]", "all => all.map(e => e.dataset.drawn)")
    assert set(drawn) <= {"yes"}
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.evaluate(SMALL_TARGETS) == []
    found = Axe().run(page).response["violations"]
    grave = [
        (fault["id"], [node["html"][:200] for node in fault["nodes"][:3]])
        for fault in found
        if fault["impact"] in ("serious", "critical")
    ]
    assert grave == []


@pytest.mark.parametrize("width", WIDTHS)
def test_a_form_with_errors_is_accessible_and_fits(visit, served, width):
    opened = visit(served("full") + "/pairs/pair-001", width)
    page = opened.page
    page.fill("#r-thickness", "52")
    page.click("text=Log the reading")
    page.wait_for_selector("#r-thickness-problem")
    assert page.input_value("#r-thickness") == "52"
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.screenshot(path=ARTEFACTS / f"form-with-errors-{width}.png", full_page=True)
    found = Axe().run(page).response["violations"]
    assert [f["id"] for f in found if f["impact"] in ("serious", "critical")] == []
