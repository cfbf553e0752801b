"""Does a fresh machine log its first wear by a phone's browser, with one command and no setting?"""

from __future__ import annotations

import os
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import ARTEFACTS
from tests.browser.plotly_css import CHROMIUM, FLAGS
from tests.conftest import PATIENCE_MS

pytestmark = pytest.mark.browser
NAME = "shoes.test"


@pytest.fixture
def terminal(tmp_path: Path) -> Iterator[list[str]]:
    """Run the command in an empty folder, without any setting; give the addresses it prints."""
    known = {name: text for name, text in os.environ.items() if not name.startswith("SOLESPAN_")}
    words = ["serve", "--phone", "--address", NAME, "--host", "127.0.0.1", "--port", "0"]
    with subprocess.Popen(
        [sys.executable, "-m", "solespan", *words],
        cwd=tmp_path,
        env=known,
        stderr=subprocess.PIPE,
        text=True,
    ) as running:
        said: list[str] = []
        for line in running.stderr:
            said += re.findall(r"http://\S+", line)
            if len(said) == 2:
                break
        yield said
        running.terminate()
        running.stderr.read()  # until it has ended


@pytest.fixture
def phone(chromium: Browser) -> Iterator[Page]:
    """A second browser, with a profile of its own, that finds this machine by another name."""
    flags = [*FLAGS, f"--host-resolver-rules=MAP {NAME} 127.0.0.1"]
    second = chromium.browser_type.launch(executable_path=CHROMIUM, args=flags)
    context = second.new_context(viewport={"width": 390, "height": 844})
    context.set_default_timeout(PATIENCE_MS)
    yield context.new_page()
    second.close()


def test_the_first_wear_comes_from_a_second_device(terminal, visit, phone):
    here, link = terminal
    machine = visit(here + "add", width=1280).page
    machine.fill("#a-label", "Walnut derby")
    machine.fill("#a-wearer_name", "Ada")
    machine.click("button:has-text('Add the pair')")
    expect(machine.locator("#said")).to_contain_text("The pair is added")
    own = urlsplit(machine.url).path

    origin = link.partition("/connect/")[0]
    assert phone.goto(origin + own).status == 401
    phone.goto(link)
    phone.fill("#c-name", "Ada's phone")
    phone.click("button:has-text('Connect')")
    expect(phone.locator("#said")).to_contain_text("This device is connected")
    phone.goto(origin + own)
    phone.click("form[action='/wear'] button >> nth=0")
    phone.wait_for_selector("form[action='/wear/undo']")
    worn = machine.request.get(here + "v1/wear-days").json()["items"]
    assert len(worn) == 1

    machine.goto(here + "reminders")
    machine.click("#calendar ~ .acts button")
    expect(machine.locator(".link code")).to_contain_text(f"{origin}/calendar/")
    machine.goto(here + "devices")
    expect(machine.locator("main")).to_contain_text("Ada's phone")
    machine.screenshot(path=ARTEFACTS / "devices-1280-light.png", full_page=True)
    machine.click("button:has-text('Connect a phone')")
    machine.wait_for_selector(".qr svg")
    machine.screenshot(path=ARTEFACTS / "devices-code-1280-light.png", full_page=True)
    machine.click("button:has-text('Remove')")
    expect(machine.locator("main")).to_contain_text("No phone is connected")
    assert phone.goto(origin).status == 401
