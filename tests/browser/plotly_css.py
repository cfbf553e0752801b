"""Which styles does the figure library put on a page, so that they can be served as a file?

Run `python tests/browser/plotly_css.py` after an upgrade of plotly to write
`dashboards/static/plotly.css` anew; a test compares the two.
"""

from __future__ import annotations

from pathlib import Path

from playwright.sync_api import Page, sync_playwright
from plotly.offline import get_plotlyjs

TARGET = Path(__file__).parents[2] / "dashboards" / "static" / "plotly.css"
HEAD = "/* Written by tests/browser/plotly_css.py from the figure library (MIT); do not edit. */\n"
CHROMIUM = "/usr/bin/chromium"
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


def library_css(page: Page) -> str:
    """Return the rules that the library adds to an otherwise empty page."""
    page.set_content("<div id=plot></div>")
    page.add_script_tag(content=get_plotlyjs())
    page.evaluate("Plotly.newPlot('plot', [{y: [1, 2]}])")
    rules = page.evaluate(
        "[...document.getElementById('plotly.js-style-global').sheet.cssRules].map(r => r.cssText)"
    )
    return HEAD + "\n".join(rules) + "\n"


if __name__ == "__main__":
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        TARGET.write_text(library_css(browser.new_page()), encoding="utf-8")
        browser.close()
