"""Does the pair page fit a thumb: words, screens, stillness and access, at three widths?"""

import pytest

from tests.browser.conftest import ARTEFACTS, THEMES
from tests.browser.test_every_page import grave_problems

pytestmark = pytest.mark.browser

HEIGHT = 844
WORDS = """
() => {
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  let [first, all] = [0, 0];
  while (walk.nextNode()) {
    const text = walk.currentNode.textContent.trim();
    if (!text || !walk.currentNode.parentElement.checkVisibility()) continue;
    const range = document.createRange();
    range.selectNodeContents(walk.currentNode);
    const box = range.getBoundingClientRect();
    const count = text.split(/\\s+/).length;
    if (walk.currentNode.parentElement.closest('main')) all += count;
    if (box.height && box.top < innerHeight && box.bottom > 0 && box.right > 0) first += count;
  }
  return [first, all];
}
"""
SHIFT = """
window.shift = 0;
new PerformanceObserver(list => {
  for (const entry of list.getEntries()) if (!entry.hadRecentInput) window.shift += entry.value;
}).observe({ type: 'layout-shift', buffered: true });
"""


@pytest.mark.parametrize("width", [390, 820, 1280])
def test_the_pair_page_is_short_still_and_accessible(visit, served, width):
    opened = visit("about:blank", width)
    page = opened.page
    page.add_init_script(SHIFT)
    page.goto(served("fitted") + "/pairs/pair-001")
    page.wait_for_load_state("networkidle")
    first, words = page.evaluate(WORDS)
    bottom = page.evaluate("document.querySelector('main').getBoundingClientRect().bottom")
    assert words <= 350
    assert bottom <= 3 * HEIGHT
    assert page.evaluate("window.shift") < 0.05
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    if width == 390:
        assert first <= 100
        button = page.locator("button.strong").bounding_box()
        assert button["y"] + button["height"] < HEIGHT, "the main button is on the first screen"
        assert page.get_by_label("Worn yesterday").or_(page.get_by_text("Other day")).count() == 1
    assert page.locator("svg.fig:visible").count() == 1
    assert not [url for url in opened.requests if "plotly" in url and url.endswith(".js")]
    for theme in THEMES:
        page.emulate_media(color_scheme=theme)
        page.screenshot(path=ARTEFACTS / f"pair-folded-{width}-{theme}.png", full_page=True)
        assert grave_problems(page) == [], theme


def test_the_library_comes_when_somebody_reads_values_off(visit, served):
    opened = visit(served("fitted") + "/pairs/pair-001", 1280)
    page = opened.page
    page.click(".thick [data-read]")
    page.wait_for_selector(".thick .plot .main-svg")
    assert [url for url in opened.requests if "/assets/plotly" in url and url.endswith(".js")]
    assert page.locator(".thick svg.fig:visible").count() == 0
    assert opened.complaints == []
