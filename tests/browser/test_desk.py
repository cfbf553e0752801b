"""Is every role three taps from its work, and does a stranger get a ticket in twelve?"""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from solespan.api.schemas.bench.orders import Move, NewOrder
from solespan.api.services.bench import orders
from tests.browser.conftest import ARTEFACTS
from tests.browser.test_every_page import SMALL_TARGETS, grave_problems

pytestmark = pytest.mark.browser
MOST_TAPS = 3
MOST_TAPS_OF_RECEPTION = 12
# The five commonest tasks of each role: what is tapped from the home on, and what is there then.
TASKS = {
    "desk": {
        "book a pair in": (["main >> text=Book in"], "#r-who"),
        "find a customer": (["nav.bar >> text=Customers"], "#c-q"),
        "give a pair back": (["#ready-pair"], "text=It is collected"),
        "print a ticket": (["#coming-pair", "text=Ticket to print"], "text=Tear here"),
        "tell a price": (["#coming-pair", "a:text-is('Quote')"], "h1:has-text('Quote')"),
    },
    "bench": {
        "open the next job": (["#queue-pair"], "text=What happens next"),
        "measure a pair": (["#queue-pair", "text=Fill it in"], "form.paper, form.sheet"),
        "take a photograph": (["#queue-pair"], "#ph-file"),
        "print the card": (["#queue-pair", "text=Job card to print"], "text=Cautions"),
        "see the board": (["nav.bar >> text=Bench"], "text=Every open order"),
    },
    "owner": {
        "see the year": (["main >> text=The year"], "h1:has-text('Work ahead')"),
        "see what is late": ([], "#late, #coming"),
        "write to customers": (
            ["text=More", "#all-pages >> text=Notices"],
            "h1:has-text('Notices')",
        ),
        "change the hours": (
            ["text=More", "#all-pages a[href='/settings']"],
            "h1:has-text('Settings')",
        ),
        "see who works here": (
            ["text=More", "#all-pages >> text=Members and keys"],
            "h1:has-text('Members')",
        ),
    },
    "collector": {
        "log a wear": (["#pairs button[name=pair]"], "text=The wear is logged."),
        "see a pair": ([".rack .who a"], ".pairhead h1"),
        "see the plan": (["nav.bar >> text=Plan"], "h1:has-text('Which pair')"),
        "see care": (["nav.bar >> text=Care"], "h1:has-text('Care')"),
        "add a pair": (["text=More", "#all-pages >> text=Add"], "[name=label]"),
    },
}


@pytest.fixture
def shop(fresh):
    """A shop with one pair expected, one on its way through the bench, and one to fetch."""
    base = fresh("full")
    services = fresh.app.state.services
    with services.database.writing() as session:
        today = services.clock.today()

        def book(pair: str, *steps: str, **more) -> None:
            given = NewOrder(pair_id=pair, work="top_piece", **more)
            order = orders.book(session, given, services.clock)
            for step in steps:
                done = {"worker": "Mo"} if step == "on_bench" else {}
                move = Move(to=step, version=order["version"], **done)
                order = orders.step(session, order["order_id"], move, services.clock)

        book("pair-001", expected_on=today)
        book("pair-002", "received")
        book("pair-003", "received", "on_bench", "checked")
    return base


def home(visit, base: str, role: str, width: int) -> Page:
    """Open the home of a role, as it has been chosen in this browser."""
    page: Page = visit(base + "/", width).page
    if role != "collector":
        page.click("text=I have a shop")
        expect(page.locator("h1")).to_contain_text("25 Nov")
    if role == "bench":
        page.click("text=the bench")
        expect(page.locator("h2").first).to_contain_text("Queue")
    return page


@pytest.mark.parametrize("role", TASKS)
def test_each_role_is_within_three_taps_of_its_five_commonest_tasks(visit, shop, role):
    assert len(TASKS[role]) == 5
    page = home(visit, shop, role, 820)
    for task, (taps, there) in TASKS[role].items():
        page.goto(shop + "/")
        for place in taps:
            first = place.removesuffix("-pair")
            target = f"section:has({first}) .orders a >> nth=0" if first != place else place
            page.locator(target).first.click()
        assert len(taps) <= MOST_TAPS, task
        expect(page.locator(there).first).to_be_visible()


def test_a_stranger_gets_a_printed_ticket_within_twelve_taps(visit, shop):
    page = home(visit, shop, "desk", 820)
    taps = 0

    def tap(where: str) -> None:
        nonlocal taps
        taps += 1
        page.locator(where).first.click()

    tap("main >> text=Book in")
    tap("#r-who")
    page.keyboard.type("Walter Q.")
    tap("text=Go on")
    tap("#r-what")
    page.keyboard.type("brown brogue, needs a sole")
    tap("#r-phone")
    page.keyboard.type("+43 1 2345")
    tap("text=Make the ticket")
    tap("text=Print the ticket")
    expect(page.locator("text=Tear here")).to_be_visible()
    assert "+43 1 2345" in page.inner_text("main")
    assert taps <= MOST_TAPS_OF_RECEPTION


@pytest.mark.parametrize("width", [390, 820, 1280])
def test_the_pages_of_the_desk_fit_and_are_accessible(visit, shop, width):
    page = home(visit, shop, "desk", width)
    ARTEFACTS.mkdir(exist_ok=True)

    def look(name: str, *, printed: bool = False) -> None:
        page.screenshot(path=ARTEFACTS / f"desk-{name}-{width}.png", full_page=True)
        assert page.evaluate("document.documentElement.scrollWidth") <= width, name
        assert printed or page.evaluate(SMALL_TARGETS) == [], name
        assert grave_problems(page) == [], name

    look("home")
    page.goto(shop + "/desk?only=ask")
    look("list")
    page.goto(shop + "/customers")
    page.fill("#c-q", "pair")
    page.press("#c-q", "Enter")
    page.wait_for_url("**/find-customer")
    look("customers")
    page.goto(shop + "/reception")
    look("reception")
    page.fill("#r-who", "a")
    page.click("text=Go on")
    page.wait_for_selector("#r-what")
    look("pair")
    page.click("text=Make the ticket")
    expect(page.locator("#r-what-problem")).to_be_visible()
    page.fill("#r-what", "brown brogue, needs a sole")
    page.check("[name=choice][value=new]")
    page.click("text=Make the ticket")
    page.click("text=Print the ticket")
    look("ticket", printed=True)
