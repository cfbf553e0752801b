"""Does the report open from disk, draw, and ask nobody for anything."""

import pytest

from solespan.dashboards.report import report_html
from tests.browser.conftest import ARTEFACTS, WIDTHS
from tests.dashboards.builders import TODAY, rack

pytestmark = pytest.mark.browser


@pytest.mark.parametrize("width", WIDTHS)
def test_opens_from_disk_without_any_request(visit, tmp_path, width):
    situation = rack(9)
    file = tmp_path / "report.html"
    text = report_html(
        situation.forecast, situation.log, situation.path, today=TODAY, title="What the rack needs"
    )
    file.write_text(text, encoding="utf-8")
    opened = visit(file.as_uri(), width)
    opened.draw_everything()
    page = opened.page
    ARTEFACTS.mkdir(exist_ok=True)
    page.screenshot(path=ARTEFACTS / f"report-{width}.png", full_page=True)
    assert opened.complaints == []
    assert all(url.startswith((file.as_uri(), "data:", "blob:")) for url in opened.requests)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    drawn = page.eval_on_selector_all("[data-drawn]", "all => all.map(e => e.dataset.drawn)")
    assert drawn == ["yes"] * 5
