"""A customer reads their own page at every width, in every language, and nothing leaves its box."""

from __future__ import annotations

from datetime import date
from io import BytesIO

import pytest
from PIL import Image

from solespan.api.schemas.bench.shop import BenchSettings
from solespan.api.services.accounts import tokens
from solespan.api.services.bench.bench_settings import change_bench_settings
from solespan.api.storage.bench import orders
from solespan.api.storage.tables.bench import BenchPhoto
from solespan.api.storage.tables.rack import Pair, Wearer
from solespan.dashboards.language import LANGUAGES
from tests.browser.conftest import NOW
from tests.browser.test_accounts import looked_at

pytestmark = pytest.mark.browser
# elements whose text is wider than their own box
TOO_LONG = """() => [...document.querySelectorAll("main *, footer *")]
  .filter(e => e.children.length === 0 && e.textContent.trim() && e.scrollWidth > e.clientWidth + 1
    && getComputedStyle(e).display !== "inline" && e.clientWidth > 0
    && !e.closest(".unseen, .skip, svg"))
  .map(e => e.tagName + ": " + e.textContent.trim())"""


def shop_with_orders(app) -> str:
    """Fill the shop and return the secret of its first customer's link."""
    database = app.state.services.database
    picture = BytesIO()
    Image.new("RGB", (400, 300), "#6f472a").save(picture, "PNG")
    with database.writing() as session:
        change_bench_settings(session, BenchSettings(), None)
        pairs = session.query(Pair).join(Wearer).filter(Wearer.wearer_id == "ada").all()
        for pair, stage in zip(pairs, ("booked", "on_bench", "checked"), strict=False):
            values = {"stage": stage, "work": "full_sole", "booked_on": date(2026, 11, 20)}
            values |= {"promised_on": date(2026, 12, 5), "expected_on": date(2026, 11, 27)}
            order = orders.insert_order(session, values | {"pair_pk": pair.id, "order_id": stage})
            kept = {"media_type": "image/png", "content": picture.getvalue(), "taken_in": NOW}
            session.add(BenchPhoto(photo_id=f"photo-{stage}", order_pk=order, **kept))
        return tokens.new_link(session, tenant_pk=1, wearer_id="ada", now=NOW)


@pytest.mark.parametrize("width", [390, 820, 1280])
def test_a_customers_page_fits_in_every_language(fresh, visit, width):
    base = fresh("one wearer", accounts=True)
    secret = shop_with_orders(fresh.app)
    opened = visit(f"{base}/open/{secret}", width)
    page = opened.page
    page.click("form button")
    page.wait_for_url("**/my")
    for code in LANGUAGES:
        page.check(f"input[name=language][value={code}]")
        page.click("section.own form button")
        page.wait_for_selector(f"html[lang={code}]")
        looked_at(opened, f"customer-{code}", width)
        page.eval_on_selector_all("details", "all => all.forEach(one => one.open = true)")
        assert page.evaluate(TOO_LONG) == []
        looked_at(opened, f"customer-{code}-unfolded", width)
    assert opened.complaints == []
