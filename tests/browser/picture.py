"""Screenshots of the rack and of a code for a phone for the README, made from the demo's data.

Run `python -m tests.browser.picture` to write `docs/rack.png` and `docs/phone.png` anew.
"""

from __future__ import annotations

from datetime import UTC, datetime, time
from pathlib import Path
from tempfile import TemporaryDirectory
from threading import Thread

import uvicorn
from playwright.sync_api import sync_playwright

from solespan.api.app import create_app
from solespan.api.cli.demo import AS_OF, DATABASE, run_demo
from solespan.api.clock import Clock
from solespan.api.services.accounts.home_devices import HomeNetwork
from solespan.api.settings import Settings
from tests.browser.plotly_css import CHROMIUM, FLAGS

DOCS = Path(__file__).parents[2] / "docs"
WEARER = "C-W0001"  # the example collector
SIZE = {"width": 1180, "height": 820}
CODE_SIZE = {"width": 820, "height": 470}
HOME = HomeNetwork("http://shoes.local:8000")


def take(address: str) -> None:
    """Photograph the top of one rack, and a code for a phone, in the light theme."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        page = browser.new_page(viewport=SIZE, color_scheme="light")
        page.goto(f"{address}/?wearer={WEARER}", wait_until="networkidle")
        page.screenshot(path=DOCS / "rack.png")
        page = browser.new_page(viewport=CODE_SIZE, color_scheme="light")
        page.goto(f"{address}/devices", wait_until="networkidle")
        page.click("form[action='/devices/code'] button")
        page.wait_for_selector(".qr svg")
        page.screenshot(path=DOCS / "phone.png")
        browser.close()


def main() -> None:
    """Run the demo in a temporary folder, serve it, and photograph two pages."""
    with TemporaryDirectory() as folder:
        run_demo(Path(folder))
        settings = Settings(database_url=f"sqlite:///{Path(folder) / DATABASE}")
        noon = datetime.combine(AS_OF, time(12), UTC)
        app = create_app(settings, clock=Clock(lambda: noon), background=False, home=HOME)
        server = uvicorn.Server(uvicorn.Config(app, port=0, log_level="warning"))
        thread = Thread(target=server.run, daemon=True)
        thread.start()
        while not server.started:
            thread.join(0.05)
        port = server.servers[0].sockets[0].getsockname()[1]
        take(f"http://127.0.0.1:{port}")
        server.should_exit = True
        thread.join()


if __name__ == "__main__":
    main()
