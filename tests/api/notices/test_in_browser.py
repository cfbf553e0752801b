"""Do the pages of notices, and those behind the links of a notice, fit, read well and work?"""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator

import pytest
import uvicorn
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page
from sqlalchemy import update

from solespan.api.app import create_app
from solespan.api.schemas.notices.consents import ConsentGiven
from solespan.api.services.notices.consents import give
from solespan.api.services.notices.deciding import run
from solespan.api.services.notices.sending import Sender
from solespan.api.storage.notices.consents import consents_of
from solespan.api.storage.notices.notices import find_notice, list_notices
from solespan.api.storage.tables.rack import Pair, Wearer
from tests.api.notices.people import link_in
from tests.browser.conftest import ARTEFACTS
from tests.browser.test_every_page import SMALL_TARGETS

pytestmark = pytest.mark.browser

LONG = 'The <b>"very long"</b> & Unbrokennamewithoutanyspaceatallthatnolayoutcanwrap of that house'
PAGES = (
    *("", "/send", "/wording", "/wording?language=de"),
    *("/customers", "/customers/many", "/letters", "?why=early"),
)


@pytest.fixture
def served(shop, clock) -> Iterator[str]:
    """Ada and Cy have been written to, Bo not yet; names are long."""
    with shop.database.writing() as session:
        session.execute(update(Wearer).values(name=LONG))
        session.execute(update(Pair).values(label=LONG))
        given = ConsentGiven(wearer_id="cy", channel="print", how="by phone", by="Mo")
        give(session, given, clock)
    run(shop, only={"ada", "cy"})
    Sender(shop, worker="one", chance=lambda: 0.5).drain()
    app = create_app(shop.settings, clock=clock, background=False)
    app.state.services = shop
    config = uvicorn.Config(app, host="127.0.0.1", port=0, log_level="warning")
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        assert thread.is_alive(), "the server did not start"
        time.sleep(0.02)
    yield f"http://127.0.0.1:{server.servers[0].sockets[0].getsockname()[1]}"
    server.should_exit = True
    thread.join(timeout=120)


@pytest.fixture
def text(shop, served):
    with shop.database.reading() as session:
        rows = list_notices(session, wearer_id="ada", limit=1)
        return find_notice(session, rows[0]["notice_id"])["payload"]["text"]


def looked_at(page: Page, address: str) -> list[str]:
    """Open a page and return everything that is wrong with it."""
    complaints: list[str] = []
    page.on("console", lambda m: complaints.append(m.text) if m.type == "error" else None)
    page.goto(address)
    for details in page.query_selector_all("main details"):
        details.evaluate("e => e.open = true")
    width = page.viewport_size["width"]
    wide = page.evaluate("document.documentElement.scrollWidth")
    if wide > width:
        complaints.append(f"{wide} px wide")
    complaints += page.evaluate(SMALL_TARGETS)
    found = Axe().run(page).response["violations"]
    grave = [f for f in found if f["impact"] in ("serious", "critical")]
    return complaints + [f"{f['id']}: {f['nodes'][0]['html'][:150]}" for f in grave]


@pytest.mark.parametrize(("width", "theme"), [(390, "light"), (1280, "dark")])
def test_every_page_of_notices_fits_and_is_accessible(chromium, served, text, width, theme):
    paths = [f"/notices{page}" for page in PAGES]
    purposes = ("book", "check", "elsewhere", "decline", "unsubscribe")
    paths += [link_in(text, purpose) for purpose in purposes]
    size = {"width": width, "height": 844}
    wrong = {}
    for path in paths:
        context = chromium.new_context(viewport=size, color_scheme=theme)
        found = looked_at(context.new_page(), served + path)
        context.close()
        if found:
            wrong[path] = found
    assert wrong == {}


@pytest.mark.parametrize("width", [390, 820, 1280])
def test_a_mail_fits_and_its_preview_shows_it_on_desktop_and_phone(chromium, served, shop, width):
    with shop.database.reading() as session:
        (row,) = list_notices(session, wearer_id="ada", limit=1)
    context = chromium.new_context(viewport={"width": width, "height": 844})
    page = context.new_page()
    address = f"{served}/notices/{row['notice_id']}"
    assert looked_at(page, address) == []
    assert [frame.url for frame in page.frames[1:]] == [f"{address}/mail"] * 2
    ARTEFACTS.mkdir(exist_ok=True)
    page.screenshot(path=ARTEFACTS / f"notice-preview-{width}.png", full_page=True)
    page.goto(f"{address}/mail")
    page.screenshot(path=ARTEFACTS / f"mail-{width}.png", full_page=True)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    drawn = "all => all.every(one => one.naturalWidth > 0)"
    assert page.eval_on_selector_all("img", drawn)
    context.close()


# DIN 5008:2020, form B, values from memory: millimetres from the left and the top of the page
WINDOW_MM = {"left": 20.0, "top": 45.0, "width": 85.0, "height": 45.0}
MARGIN_MM = {"left": 5.0, "top": 15.0}  # of the page's own rule in the style sheet


def test_the_address_of_a_letter_stands_in_the_window_of_its_envelope(chromium, served):
    context = chromium.new_context(viewport={"width": 700, "height": 1000})
    page = context.new_page()
    page.emulate_media(media="print")
    page.goto(f"{served}/notices/letters")
    found = page.evaluate(
        """() => { const at = document.querySelector(".letter").getBoundingClientRect(),
        box = document.querySelector(".window").getBoundingClientRect(), mm = 96 / 25.4;
        return {left: (box.left - at.left) / mm, top: (box.top - at.top) / mm,
                width: box.width / mm, height: box.height / mm}; }"""
    )
    page.screenshot(path=ARTEFACTS / "letter.png", full_page=True)
    page.pdf(path=ARTEFACTS / "letter.pdf", prefer_css_page_size=True)
    for name, wanted in WINDOW_MM.items():
        assert found[name] + MARGIN_MM.get(name, 0) == pytest.approx(wanted, abs=0.5), name
    assert page.inner_text(".dated") == "25 November 2026"
    assert "Kind regards" in page.inner_text(".signature")
    context.close()


def test_a_customer_answers_without_scripts_by_keyboard_alone(chromium, served, text, shop):
    context = chromium.new_context(
        viewport={"width": 390, "height": 844}, java_script_enabled=False
    )
    page = context.new_page()
    page.goto(served + link_in(text, "unsubscribe"))
    for _ in range(6):
        page.keyboard.press("Tab")
        if page.locator("button:focus").count():
            break
    page.keyboard.press("Enter")
    page.get_by_text("That is done.").wait_for()
    with shop.database.reading() as session:
        assert consents_of(session, "ada", 9)[0]["withdrawn_how"] == "on the page"
    page.goto(served + link_in(text, "check"))
    page.check("input[name=left][value=soft]")
    page.click("button")
    page.get_by_text("calculated again").wait_for()
    context.close()
