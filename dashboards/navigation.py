"""Which pages are reached from every page, in which order, and which one is the reader on?

The register: a new page adds one line to `ENTRIES`. On a phone the entries that are `first` stand
in a bar within reach of the thumb; all of them stand at the foot of every page.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["ENTRIES", "GROUPS", "NavEntry", "entry_of"]


GROUPS = (("rack", "Your rack"), ("shop", "The shop"))


@dataclass(frozen=True)
class NavEntry:
    """One entry: its word, its address, who it is for, and the templates it is current on.

    `group` is `rack` for owners and `shop` for menders; `first` entries stand in the phone's bar.
    """

    label: str
    address: str
    templates: tuple[str, ...]
    group: str = "rack"
    first: bool = False


ENTRIES: tuple[NavEntry, ...] = (
    NavEntry("Rack", "/", ("rack.html",), first=True),
    NavEntry("Plan", "/plan", ("plan.html", "what_if.html"), first=True),
    NavEntry("Add", "/add", ("add.html",), first=True),
    NavEntry("Import", "/import", ("import.html", "import_report.html")),
    NavEntry("Bench", "/bench", ("bench.html", "job.html", "job_paper.html"), "shop", first=True),
    NavEntry(
        "Work ahead", "/workload", ("workload.html", "workload_none.html", "stock.html"), "shop"
    ),
    NavEntry(
        "Notices",
        "/notices",
        (
            "notices.html",
            "notice.html",
            "notice_send.html",
            "notice_rules.html",
            "notice_wording.html",
            "notice_customers.html",
        ),
        "shop",
    ),
    NavEntry("Past forecasts", "/past-forecasts", ("look_back.html",), "shop"),
    NavEntry("Members and keys", "/people", ("people.html",), "shop"),
    NavEntry("Your account", "/account", ("account.html",), "shop"),
)


def entry_of(template: str) -> NavEntry | None:
    """Find the entry that is current on the page of this template; None on a page between."""
    return next((entry for entry in ENTRIES if template in entry.templates), None)
