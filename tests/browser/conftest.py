"""Which browser looks at which service?"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from datetime import UTC, datetime
from pathlib import Path

import pytest
import uvicorn
from playwright.sync_api import Browser, Page

from solespan.api.app import create_app
from solespan.api.clock import Clock
from solespan.api.schemas.bench.purchases import NewPurchase
from solespan.api.schemas.bench.stock import Item
from solespan.api.services.bench.bench_plan import make_plan
from solespan.api.services.bench.purchases import order_item
from solespan.api.services.bench.stock import put_item
from solespan.api.services.planning import plans
from solespan.api.settings import Settings
from solespan.api.wiring import Services
from tests.dashboards.builders import LONG_NAME, Rack, of_one, rack, with_band
from tests.dashboards.storing import store
from tests.databases import Databases

NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)
ARTEFACTS = Path(__file__).parents[2] / "artefacts"
WIDTHS, THEMES = (390, 1280), ("light", "dark")
SITUATIONS: dict[str, Callable[[], Rack]] = {
    "full": lambda: with_band(with_band(rack(9), "pair-004", "away"), "pair-005", "retired"),
    "one pair": lambda: rack(1),
    "no pair": lambda: rack(0),
    "long names": lambda: rack(4, label=LONG_NAME),
    "200 pairs": lambda: rack(200),
    "one wearer": lambda: of_one(rack(6)),
    "fitted": lambda: rack(6),
    "rack of 14": lambda: of_one(rack(14)),
    "rack of one": lambda: of_one(rack(1)),
    "rack of 200": lambda: of_one(rack(200, label="Chestnut walking derby of Northumberland")),
}


@pytest.fixture(scope="session")
def served(databases: Databases) -> Iterator[Callable[[str], str]]:
    """Give the address of a real server with a situation in its database."""
    addresses: dict[str, str] = {}
    with ExitStack() as running:

        def address_of(name: str) -> str:
            if name not in addresses:
                server = _Server(databases.copy(), SITUATIONS[name]())
                if name == "fitted":
                    fit_and_plan(server.app.state.services)
                addresses[name] = running.enter_context(server)
            return addresses[name]

        yield address_of


@pytest.fixture
def fresh(own_database: Callable[..., str]) -> Iterator[Callable[[str], str]]:
    """Give the address of a server of this test's own, which it may change; `.app` is its app."""
    with ExitStack() as running:

        def address_of(name: str, **settings) -> str:
            server = _Server(own_database(), SITUATIONS[name](), **settings)
            address_of.app = server.app
            return running.enter_context(server)

        yield address_of


def fit_and_plan(services: Services) -> None:
    """Fit and forecast, plan Ada's rack and the bench's year, and keep an item of stock."""
    services.fitter.refit()
    services.forecaster.update_behind(everyone=True)
    asked = plans.plan_rack(services, "ada", {"weeks": 8})
    with services.database.writing() as session:
        plans.keep(services, session, asked)
        put_item(session, "oak-5mm", Item(use="sole", supply_days=240, minimum_order=10))
        order = NewPurchase(item_id="oak-5mm", quantity=10)
        order_item(session, order, services.clock.today())
    make_plan(services.database, services.clock.today(), months=12)


class _Server:
    """A uvicorn server on a free port of this machine, in a thread."""

    def __init__(self, database: str, situation: Rack, **settings) -> None:
        app = create_app(
            Settings(database_url=database, **settings),
            clock=Clock(lambda: NOW),
            background=False,
        )
        self.app = app
        if len(situation.log.pairs):
            store(app.state.services.database, situation)
        config = uvicorn.Config(app, host="127.0.0.1", port=0, log_level="warning", lifespan="on")
        self._server = uvicorn.Server(config)
        self._thread = threading.Thread(target=self._server.run, daemon=True)

    def __enter__(self) -> str:
        self._thread.start()
        while not self._server.started:
            assert self._thread.is_alive(), "the server did not start"
            time.sleep(0.02)
        port = self._server.servers[0].sockets[0].getsockname()[1]
        return f"http://127.0.0.1:{port}"

    def __exit__(self, *_exception) -> None:
        self._server.should_exit = True
        self._thread.join(timeout=120)


def wait_until(page: Page, expression: str) -> None:
    """Wait until a JavaScript expression holds.

    `wait_for_function` looks once and, if it has to look again, is refused by the pages' policy,
    which lets no text be run later; here the whole waiting is one function.
    """
    page.evaluate(
        f"""async () => {{
          for (let looks = 0; !({expression}); looks += 1) {{
            if (looks === 2400) throw new Error("two minutes passed");
            await new Promise(done => {{ setTimeout(done, 50); }});
          }} }}"""
    )


class Visit:
    """A page in the browser, with everything the browser complained about."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.complaints: list[str] = []
        self.requests: list[str] = []
        page.on("console", self._note)
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        page.on("request", lambda request: self.requests.append(request.url))
        page.add_init_script(
            "document.addEventListener('securitypolicyviolation', e => "
            "console.error('policy', e.violatedDirective, e.blockedURI, e.sourceFile))"
        )

    def _note(self, message) -> None:
        if message.type == "error":
            self.complaints.append(message.text)

    def unfold(self) -> None:
        """Open all that is folded."""
        self.page.eval_on_selector_all("details", "all => all.map(e => { e.open = true; })")

    def read_values(self) -> None:
        """Ask every figure in view for its values, and wait until the library has drawn it."""
        buttons = self.page.query_selector_all("[data-read]:visible")
        for button in buttons:
            button.click()
        read = "all => all.filter(plot => plot.querySelector('.main-svg')).length"
        for _ in range(500):
            if self.page.eval_on_selector_all(".plot", read) >= len(buttons):
                return
            self.page.wait_for_timeout(20)
        raise AssertionError("a figure was not drawn by the library")

    def draw_everything(self) -> None:
        """Unfold all; bring each region and figure into view, and wait until it is there."""
        self.unfold()
        for name in self.page.eval_on_selector_all("[data-load]", "all => all.map(e => e.id)"):
            self.page.evaluate("name => document.getElementById(name).scrollIntoView()", name)
            self.page.wait_for_selector(f"#{name}:not([data-load])")
        for chart in self.page.query_selector_all("[data-figure-src], [data-figure-inline]"):
            chart.scroll_into_view_if_needed()
            chart.wait_for_selector("xpath=self::*[@data-drawn]")
        self.page.evaluate("scrollTo(0, 0)")


@pytest.fixture
def visit(chromium: Browser) -> Iterator[Callable[..., Visit]]:
    """Open an address at a width and theme."""
    with ExitStack() as contexts:

        def open_at(address: str, width: int = 390, theme: str = "light", **more) -> Visit:
            context = chromium.new_context(
                viewport={"width": width, "height": 844}, color_scheme=theme, **more
            )
            contexts.callback(context.close)
            opened = Visit(context.new_page())
            opened.page.goto(address)
            return opened

        yield open_at
