"""Does every page keep the promises of all pages, at both widths and in both themes."""

import re

import pytest
from axe_playwright_python.sync_playwright import Axe

from solespan.api.routes.http.page_entry import navigation_of
from solespan.api.routes.page_register import PAGES as REGISTER
from tests.browser.conftest import ARTEFACTS, THEMES, WIDTHS

pytestmark = pytest.mark.browser

PAGES = [
    ("full", "/"),
    ("one wearer", "/"),
    ("one wearer", "/pairs/pair-001"),
    ("full", "/?band=nothing"),
    ("full", "/pairs/nobody"),
    ("full", "/pairs/pair-004"),
    ("full", "/pairs/pair-001/thumb?left-waist=firm"),
    ("full", "/pairs/pair-001/thumb?left-waist=firm&right-ball=hole&end=1"),
    ("full", "/pairs/pair-001/upkeep"),
    ("full", "/pairs/pair-001/edit"),
    ("full", "/pairs/pair-001/sole"),
    ("full", "/pairs/pair-001/records"),
    ("full", "/records/pairs/pair-001"),
    ("full", "/records/wearers/ada"),
    ("full", "/add"),
    ("full", "/import"),
    ("full", "/export"),
    ("full", "/help"),
    ("full", "/help/words"),
    ("full", "/help/operator/accounts"),
    ("full", "/docs"),
    ("full", "/log?wearer=ada"),
    ("no pair", "/log"),
    ("long names", "/log?wearer=ada"),
    ("full", "/care?wearer=ada"),
    ("full", "/pair-photographs?pair=pair-001"),
    ("full", "/shared-pages?wearer=ada"),
    ("no pair", "/shared-pages"),
    ("full", "/rotation"),
    ("full", "/spread?wearer=ada"),
    ("full", "/plan"),
    ("full", "/bench"),
    ("full", "/workload"),
    ("full", "/settings"),
    ("full", "/settings/hours"),
    ("full", "/settings/notices"),
    ("full", "/settings/care"),
    ("full", "/settings/ways"),
    ("full", "/past-forecasts"),
    ("full", "/people"),
    ("full", "/hooks"),
    ("full", "/account"),
    ("full", "/worn?wearer=ada"),
    ("long names", "/worn/pair-000"),
    ("full", "/thumb"),
    ("no pair", "/thumb"),
    ("no pair", "/reminders"),
    ("one wearer", "/reminders"),
    ("no pair", "/bench"),
    ("no pair", "/"),
    ("long names", "/"),
    ("long names", "/pairs/pair-000"),
    ("200 pairs", "/"),
    ("fitted", "/workload"),
    ("fitted", "/stock"),
    ("fitted", "/stock/weeks?item=oak-5mm"),
    ("fitted", "/workload/asked"),
    ("no pair", "/stock"),
    ("fitted", "/plan?wearer=ada"),
    ("fitted", "/spread?wearer=ada"),
    ("fitted", "/spread"),
    ("fitted", "/what-if?wearer=ada&pair=pair-001&pace=3"),
    ("no pair", "/what-if"),
    ("no pair", "/plan"),
    ("no pair", "/spread"),
    ("no pair", "/care"),
    ("no pair", "/workload"),
    ("long names", "/plan?wearer=ada"),
    ("fitted", "/pairs/pair-001"),
    ("fitted", "/pairs/pair-001/upkeep"),
]
LISTED = {address for _, address in PAGES}
PAGES += [("full", e.address) for e in navigation_of(REGISTER) if e.address not in LISTED]
SMALL_TARGETS = """
() => [...document.querySelectorAll('a, button, input, select, summary, label.option')]
  .filter(e => !e.closest('.plot') && !(e.matches('input') && e.closest('label.option')))
  .filter(e => !(e.matches('a') && e.closest('p:not(.back):not(.none p)') && !e.matches('.button')))
  .filter(e => !e.closest('.month td, .weeks'))
  .filter(e => e.type !== 'hidden' && e.checkVisibility() && !e.matches('.skip'))
  .map(e => [e.outerHTML.slice(0, 120), e.getBoundingClientRect()])
  .filter(([, box]) => box.height < 44 || box.width < 44)
  .map(([html, box]) => `${html} ${box.width}x${box.height}`)
"""


def grave_problems(page):
    """What axe calls serious or critical on a page as it stands."""
    found = Axe().run(page).response["violations"]
    return [
        (fault["id"], [node["html"][:200] for node in fault["nodes"][:3]])
        for fault in found
        if fault["impact"] in ("serious", "critical")
    ]


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize(("situation", "address"), PAGES)
def test_draws_without_complaint_fits_and_is_accessible(visit, served, situation, address, width):
    base = served(situation)
    opened = visit(base + address, width, THEMES[0])
    opened.draw_everything()
    page = opened.page
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.evaluate(SMALL_TARGETS) == []
    name = re.sub(r"\W+", "-", f"{situation}{address}").strip("-")
    ARTEFACTS.mkdir(exist_ok=True)
    for theme in THEMES:
        page.emulate_media(color_scheme=theme)
        page.screenshot(path=ARTEFACTS / f"{name}-{width}-{theme}.png", full_page=True)
        # 200 rows are like 9, but cost axe 20 times as much: half of the four looks
        if situation != "200 pairs" or (width, theme) in zip(WIDTHS, THEMES, strict=True):
            assert grave_problems(page) == [], theme
    drawn = page.eval_on_selector_all("[data-drawn]", "all => all.map(e => e.dataset.drawn)")
    assert set(drawn) <= {"yes"}
    expected = [c for c in opened.complaints if not ("404" in c and "nobody" in address)]
    assert expected == [], "no script error and no violation of the security policy"
    assert all(url.startswith((base, "data:", "blob:")) for url in opened.requests)


@pytest.mark.parametrize("width", WIDTHS)
def test_a_form_with_errors_is_accessible_and_fits(visit, served, width):
    opened = visit(served("full") + "/pairs/pair-001", width)
    page = opened.page
    page.click("#log-check > summary")
    page.fill("#r-left", "52")
    page.click("text=Log the readings")
    page.wait_for_selector("#r-left-problem")
    assert page.input_value("#r-left") == "52"
    assert page.evaluate("document.activeElement.id") == "r-left", "the wrong field has the focus"
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.screenshot(path=ARTEFACTS / f"form-with-errors-{width}.png", full_page=True)
    assert grave_problems(page) == []
