"""Can a shop do its whole round in the pages: import, preview, send, book, card, finish."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from playwright.sync_api import expect

from solespan.api.services.notices.sending import Sender
from tests.api.notices.servers import Mailbox, mail_server
from tests.browser.conftest import ARTEFACTS
from tests.browser.test_bench import measure
from tests.browser.test_every_page import SMALL_TARGETS, grave_problems

pytestmark = pytest.mark.browser

FILES = Path(__file__).parents[2] / "synthetic_data" / "examples" / "small_shop"
ELSEWHERE = "http://127.0.0.1:9"  # links begin with it; the test goes to its own server instead


def test_the_whole_story_of_a_shop(visit, fresh):  # noqa: PLR0915 - one story
    mailbox = Mailbox()
    with mail_server(mailbox) as port:
        base = fresh(
            "no pair",
            secret_key="k" * 40,
            public_address=ELSEWHERE,
            smtp_host="127.0.0.1",
            smtp_port=port,
            smtp_security="plain",
            smtp_from="bench@shop.example",
        )
        services = fresh.app.state.services
        opened = visit(base + "/import", 1280)
        page = opened.page
        said = page.locator("[role=status]")

        def keep(name):
            ARTEFACTS.mkdir(exist_ok=True)
            page.screenshot(path=ARTEFACTS / f"shop-{name}-1280-light.png", full_page=True)
            assert page.evaluate("document.documentElement.scrollWidth") <= 1280
            assert page.evaluate(SMALL_TARGETS) == []
            assert grave_problems(page) == []

        page.set_input_files("#i-files", sorted(FILES.glob("*.csv")))
        page.click("text=Read the files")
        page.click("text=Take all rows")
        page.wait_for_selector("text=To the rack")
        services.fitter.refit()
        services.forecaster.update_behind(everyone=True)

        page.goto(base + "/notices")
        assert "no consent" in page.inner_text("main")
        due = page.goto(base + "/notices?why=no+consent")
        assert due.ok
        owner = page.inner_text("[aria-label='Pairs without a notice'] tbody tr >> nth=0")
        customer = owner.split("\t")[1].strip() if "\t" in owner else owner.splitlines()[1].strip()
        page.goto(base + "/notices/customers")
        line = page.locator(".agreed > li", has_text=customer).first
        line.locator("summary").click()
        line.locator("input[name=how]").fill("signed on paper at the counter")
        line.locator("input[name=by]").fill("Mo")
        line.locator("text=They agreed").click()
        expect(said).to_have_text("That is written down.")

        page.goto(base + "/settings/sender")
        page.fill("#b-shop_name", "The shop on the corner")
        page.fill("#b-shop_contact", "By telephone in the mornings")
        page.press("#b-shop_name", "Enter")
        expect(said).to_have_text("The settings are saved.")
        page.goto(base + "/notices")
        keep("notices")
        page.click("text=Send them")
        page.check("[name=sure]")
        page.click("form:has([name=sure]) button")
        expect(said).to_have_text("The notices are on their way.")
        Sender(services, worker="one", chance=lambda: 0.5).drain()
        assert len(mailbox.mails) == 1
        text = mailbox.mails[0].get_body(("plain",)).get_content()
        assert mailbox.mails[0]["List-Unsubscribe"]

        link = re.search(rf"Book it in: {re.escape(ELSEWHERE)}(\S+)", text)[1]
        guest = visit(base + link, 390)
        guest.page.click("form button:has-text('Book it in')")
        guest.page.wait_for_selector("text=It is booked in")

        page.goto(base + "/bench")
        keep("bench")
        page.click("main a[href^='/bench/'] >> nth=0")
        page.click("text=The pair is here")
        page.click("text=Measure both shoes")
        measure(page, "2,3")
        page.click("form.paper > button")
        page.fill("#s-on_bench-worker", "Mo")
        page.click("text=Put it on the bench")
        page.click("text=Measure the finished pair")
        measure(page, "5,0")
        page.click("form.paper > button")
        page.fill("#s-checked-bench_minutes", "130")
        page.click("text=Call it checked")
        expect(said).to_contain_text("It is checked")
        keep("job")
        job = page.url.partition("?")[0]
        page.goto(job + "/card")
        assert page.locator("svg").count() >= 1, "the code that leads to the job"
        assert opened.complaints == []
        assert all(url.startswith((base, "data:", "blob:")) for url in opened.requests)
