"""How does the icon look on a phone's home screen: which PNG files are drawn from `icon.svg`?

Run `python tests/browser/icons.py` after a change of `dashboards/static/icon.svg`. Home screens cut
a shape out of the icon, so the ground fills the square.
"""

from __future__ import annotations

from pathlib import Path

from playwright.sync_api import sync_playwright

from tests.browser.plotly_css import CHROMIUM, FLAGS

STATIC = Path(__file__).parents[2] / "dashboards" / "static"
SIZES_PX = (192, 512)

if __name__ == "__main__":
    drawing = (STATIC / "icon.svg").read_text("utf-8").replace(' rx="7"', "")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        for size in SIZES_PX:
            page = browser.new_page(viewport={"width": size, "height": size})
            page.set_content(f"<style>body{{margin:0}}svg{{display:block}}</style>{drawing}")
            page.screenshot(path=STATIC / f"icon-{size}.png")
        browser.close()
