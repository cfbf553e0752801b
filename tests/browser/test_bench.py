"""Can the bench's work be done in a browser without script, and does each of its pages hold up."""

import re
import struct
import zlib

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from tests.browser.conftest import ARTEFACTS, THEMES, WIDTHS, wait_until
from tests.browser.test_every_page import SMALL_TARGETS

pytestmark = pytest.mark.browser


def picture() -> bytes:
    def chunk(kind: bytes, data: bytes) -> bytes:
        check = struct.pack(">I", zlib.crc32(kind + data))
        return struct.pack(">I", len(data)) + kind + data + check

    head = struct.pack(">IIBBBBB", 80, 60, 8, 2, 0, 0, 0)
    rows = zlib.compress((b"\x00" + b"\x80\x60\x40" * 80) * 60)
    parts = [(b"IHDR", head), (b"IDAT", rows), (b"IEND", b"")]
    return b"\x89PNG\r\n\x1a\n" + b"".join(chunk(kind, data) for kind, data in parts)


def measure(page, ball: str, right_width: str = "78") -> None:
    for foot in ("left", "right"):
        page.fill(f"[name={foot}-thickness-ball]", ball)
        page.fill(f"[name={foot}-heel_layers_mm]", "6 4 4")
    page.fill("[name=left-width-ball]", "78")
    page.fill("[name=right-width-ball]", right_width)


@pytest.fixture(scope="module")
def job(chromium, served) -> str:
    """A job on the bench with a photograph and a measure that is out, made without script."""
    context = chromium.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(served("long names") + "/bench")
    page.fill("#b-pair", "pair-001")
    page.click("text=Book it in")
    page.click("text=The pair is here")
    page.click("text=Measure both shoes")
    measure(page, "2,3")
    page.click("form.paper > button")
    page.fill("#s-on_bench-worker", "Mo")
    page.click("text=Put it on the bench")
    page.click("text=Measure the finished pair")
    measure(page, "5.1", right_width="79")
    page.click("form.paper > button")
    given = {"name": "shoe.png", "mimeType": "image/png", "buffer": picture()}
    page.set_input_files("#ph-file", given)
    page.fill("#ph-caption", "the welt")
    page.click("text=Add the photograph")
    expect(page.locator("[role=status]")).to_have_text("The photograph is added.")
    address = page.url.partition("?")[0]
    context.close()
    return address


PARTS = ["", "/condition", "/after", "/card", "/quote", "/packing-list", "board"]
# The job's page is looked at in every way, the others in two.
LOOKS = [
    (part, width, theme)
    for part in PARTS
    for width in WIDTHS
    for theme in THEMES
    if not part or (width, theme) in ((390, "light"), (1280, "dark"))
]


@pytest.mark.parametrize("look", LOOKS, ids=str)
def test_each_page_of_the_bench_fits_is_accessible_and_breaks_no_policy(visit, job, look):
    part, width, theme = look
    address = job.rpartition("/")[0] if part == "board" else job + part
    opened = visit(address, width, theme)
    page = opened.page
    for image in page.query_selector_all("img"):
        image.scroll_into_view_if_needed()
    page.wait_for_load_state("networkidle")
    wait_until(page, "[...document.images].every(i => i.complete && i.naturalWidth > 0)")
    name = re.sub(r"\W+", "-", f"job {part}").strip("-")
    ARTEFACTS.mkdir(exist_ok=True)
    page.screenshot(path=ARTEFACTS / f"{name}-{width}-{theme}.png", full_page=True)
    assert opened.complaints == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.evaluate(SMALL_TARGETS) == []
    found = Axe().run(page).response["violations"]
    assert [f["id"] for f in found if f["impact"] in ("serious", "critical")] == []


def test_a_measure_that_is_out_asks_for_its_reason_beside_the_button(visit, job):
    page = visit(job, java_script_enabled=False).page
    assert page.locator("table:has(th:text('Compared')) tbody tr").count() == 2
    page.fill("#s-checked-bench_minutes", "130")
    page.click("text=Call it checked")
    expect(page.locator("[role=alert]")).to_contain_text("measures are out")
    assert page.input_value("#s-checked-bench_minutes") == "130"
    for reason in page.locator("[name^='reason:']").all():
        reason.fill("as it came")
    page.click("text=Call it checked")
    expect(page.locator("[role=status]")).to_contain_text("It is checked")
