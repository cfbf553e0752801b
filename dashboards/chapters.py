"""Register of help chapters: which chapters has the user's guide, and which fits a page?

A new chapter is one Markdown file in `dashboards/help` and one line in `CHAPTERS`. The pages at
`/help` and the service worker's offline copies follow from it.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from markdown_it import MarkdownIt
from markdown_it.renderer import RendererHTML
from markdown_it.token import Token
from markdown_it.utils import EnvType, OptionsDict
from markupsafe import Markup

__all__ = ["CHAPTERS", "READERS", "Chapter", "chapter_for", "help_addresses", "help_version"]

READERS = {
    "collector": "For your own shoes",
    "shop": "For the shop",
    "operator": "For the operator of the service",
    "": "For everyone",
}


@dataclass(frozen=True)
class Chapter:
    """One chapter: its file's name, and the templates whose pages it explains.

    `name` is the path below `dashboards/help` without its ending, such as `collector/rack`.
    """

    name: str
    templates: tuple[str, ...] = ()

    @property
    def address(self) -> str:
        """Address of the chapter's page."""
        return f"/help/{self.name}"

    @property
    def reader(self) -> str:
        """Key of `READERS`: whom the chapter is for."""
        return self.name.rpartition("/")[0]

    @property
    def text(self) -> str:
        """Markdown of the chapter, without its first heading."""
        return _source(self.name).partition("\n")[2]

    @property
    def title(self) -> str:
        """First heading of the file."""
        return _source(self.name).partition("\n")[0].removeprefix("# ")

    @property
    def html(self) -> Markup:
        """Body of the chapter as HTML; raw HTML in the file is written as text."""
        return _html(self.name)


CHAPTERS: tuple[Chapter, ...] = (
    Chapter("collector/first-pair", ("rack/add.html", "rack/edit.html")),
    Chapter(
        "collector/rack",
        (
            "rack/rack.html",
            "rack/found.html",
            "rack/photos.html",
            "rack/shares.html",
            "forecasts/spread.html",
        ),
    ),
    Chapter("collector/past-days", ("rack/log.html",)),
    Chapter("collector/pair", ("rack/pair.html",)),
    Chapter("collector/checks", ("rack/thumb.html", "rack/thumb_form.html")),
    Chapter("collector/sole", ("rack/sole.html",)),
    Chapter(
        "collector/plan",
        (
            "planning/plan.html",
            "planning/what_if.html",
            "planning/care.html",
            "planning/rotation.html",
            "planning/upkeep.html",
        ),
    ),
    Chapter(
        "collector/import",
        (
            "importing/import.html",
            "importing/import_report.html",
            "importing/import_sheets.html",
            "importing/import_taken.html",
            "importing/export.html",
        ),
    ),
    Chapter(
        "collector/corrections", ("rack/records.html", "rack/record.html", "rack/changes.html")
    ),
    Chapter(
        "collector/phone", ("accounts/devices.html", "planning/reminders.html", "rack/tag.html")
    ),
    Chapter("collector/terminal"),
    Chapter(
        "shop/desk",
        (
            "bench/shop_day.html",
            "bench/customers.html",
            "bench/reception.html",
            "bench/reception_pair.html",
        ),
    ),
    Chapter(
        "shop/bench",
        ("bench/bench.html", "bench/job.html", "bench/job_paper.html", "bench/quote.html"),
    ),
    Chapter(
        "shop/work-ahead",
        (
            "bench/workload.html",
            "bench/workload_none.html",
            "bench/stock.html",
            "bench/stock_weeks.html",
            "bench/asking.html",
        ),
    ),
    Chapter(
        "shop/notices",
        (
            "notices/notices.html",
            "notices/notice.html",
            "notices/notice_send.html",
            "notices/notice_wording.html",
            "notices/notice_customers.html",
            "notices/notice_many.html",
            "notices/hooks.html",
        ),
    ),
    Chapter("shop/past-forecasts", ("forecasts/look_back.html",)),
    Chapter("shop/settings", ("accounts/settings.html", "accounts/settings_section.html")),
    Chapter(
        "shop/people",
        (
            "accounts/people.html",
            "accounts/customer.html",
            "accounts/customer_gone.html",
            "accounts/account.html",
            "accounts/second_factor.html",
        ),
    ),
    Chapter("operator/start"),
    Chapter("operator/accounts"),
    Chapter("operator/mail"),
    Chapter("operator/backups"),
    Chapter("operator/records"),
    Chapter("words"),
)


def chapter_for(template: str) -> Chapter | None:
    """Find the chapter that explains the page of this template; None where there is none."""
    return next((chapter for chapter in CHAPTERS if template in chapter.templates), None)


def help_addresses() -> list[str]:
    """List every help page, for the copies that a browser keeps."""
    return ["/help", *(chapter.address for chapter in CHAPTERS)]


@cache
def help_version() -> str:
    """Hash of all chapters: a browser fetches its copies again when this changes."""
    texts = "\0".join(_source(chapter.name) for chapter in CHAPTERS)
    return hashlib.sha256(texts.encode()).hexdigest()[:12]


@cache
def _source(name: str) -> str:
    text = (files("solespan.dashboards") / "help" / f"{name}.md").read_text("utf-8")
    return re.sub(r"<!--.*?-->\n?", "", text, flags=re.DOTALL)  # notes for the tests


@cache
def _html(name: str) -> Markup:
    _, _, text = _source(name).partition("\n")
    return Markup(_parser().render(text))  # noqa: S704 - our own file, raw HTML is off


@cache
def _parser() -> MarkdownIt:
    parser = MarkdownIt("commonmark", {"html": False}).enable("table")
    parser.add_render_rule("table_open", _table_open)
    parser.add_render_rule("table_close", _table_close)
    parser.add_render_rule("fence", _fence)
    return parser


def _table_open(
    _renderer: RendererHTML,
    tokens: Sequence[Token],
    at: int,
    _options: OptionsDict,
    _env: EnvType,
) -> str:
    """Put a table into a region that scrolls on a narrow screen and takes the keyboard's focus."""
    number = 1 + sum(token.type == "table_open" for token in tokens[:at])
    return f'<div class="scroll" tabindex="0" role="region" aria-label="Table {number}"><table>\n'


def _table_close(
    _renderer: RendererHTML,
    _tokens: Sequence[Token],
    _at: int,
    _options: OptionsDict,
    _env: EnvType,
) -> str:
    return "</table></div>\n"


def _fence(
    _renderer: RendererHTML,
    tokens: Sequence[Token],
    at: int,
    _options: OptionsDict,
    _env: EnvType,
) -> str:
    """Write a code block that takes the keyboard's focus, as it may scroll."""
    code = Markup.escape(tokens[at].content)
    return f'<pre tabindex="0"><code>{code}</code></pre>\n'
