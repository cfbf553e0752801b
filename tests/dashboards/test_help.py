"""Help chapters: is every file a chapter, does every page have one, and does every link arrive?"""

import re
from pathlib import Path

import pytest

from solespan.dashboards.chapters import CHAPTERS, READERS, chapter_for, help_addresses
from solespan.dashboards.render import render

DASHBOARDS = Path(__file__).parents[2] / "dashboards"
# Pages without a chapter of their own: help itself and failures.
WITHOUT = {
    "failure.html",
    "help/index.html",
    "help/chapter.html",
    "help/api.html",
}


def test_every_file_is_a_chapter_and_every_chapter_a_file():
    files = {str(p.relative_to(DASHBOARDS / "help")) for p in DASHBOARDS.glob("help/**/*.md")}
    assert files == {f"{chapter.name}.md" for chapter in CHAPTERS}
    assert {chapter.reader for chapter in CHAPTERS} == READERS.keys()


def test_every_page_leads_to_exactly_one_chapter():
    claimed = [template for chapter in CHAPTERS for template in chapter.templates]
    assert len(claimed) == len(set(claimed))
    pages = {
        str(path.relative_to(DASHBOARDS / "templates"))
        for path in DASHBOARDS.glob("templates/**/*.html")
        if '{% extends "base.html" %}' in path.read_text("utf-8")
    }
    assert set(claimed) <= pages
    assert {page for page in pages if chapter_for(page) is None} == WITHOUT


@pytest.mark.parametrize("chapter", CHAPTERS, ids=lambda chapter: chapter.name)
def test_a_chapter_is_a_page_without_styles_or_scripts_of_its_own(chapter):
    page = render("help/chapter.html", {"chapter": chapter})
    assert f"<h1>{chapter.title}</h1>" in page
    assert "style=" not in page
    assert not re.search(r"<script(?![^>]*src=)", page)
    assert "<!-- needs" not in page
    assert "&lt;!--" not in page
    for address in re.findall(r'href="(/help[^"#]*)"', page):
        assert address in help_addresses()


def test_raw_html_in_a_chapter_stays_text():
    from solespan.dashboards.chapters import _parser

    assert "<script>" not in _parser().render("a <script>alert(1)</script> b")
