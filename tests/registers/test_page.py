"""Do the steps of `docs/first-page.md` bring a page and a figure of one's own, everywhere?"""

from __future__ import annotations

import re

import pytest

from tests.registers.conftest import ROOT, Checkout

STEP = re.compile(
    r"(?:Write|Put before `(?P<place>[^`]+)` in) `(?P<path>[^`]+)`:\n\n"
    r"<!-- needs: a checkout -->\n```\w+\n(?P<text>.*?)```",
    re.DOTALL,
)


def follow(document: str, checkout: Checkout) -> None:
    """Do to a copy what the document says."""
    steps = list(STEP.finditer(document))
    assert len(steps) == document.count("<!-- needs: a checkout -->")
    for step in steps:
        if step["place"]:
            checkout.put_before(step["path"], step["place"], step["text"])
        else:
            checkout.write(step["path"], step["text"])


@pytest.mark.slow
def test_the_steps_of_the_first_page_bring_a_page_and_a_figure(checkout):
    follow((ROOT / "docs" / "first-page.md").read_text("utf-8"), checkout)
    assert len([path for path in checkout.by_hand if "figures" not in path]) == 3
    assert len(checkout.by_hand) == 5
    checkout.run("page_in_use.py")
