"""Register of navigation.

Which pages are reached from every page, in which order, and which one is the reader on?

The register: a new page adds one line to `ENTRIES`. On a phone the entries that are `first` stand
in a bar within reach of the thumb. All of them stand at the foot of every page.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["ENTRIES", "GROUPS", "NavEntry", "entry_of"]


GROUPS = (("rack", "Your rack"), ("shop", "The shop"), ("help", "Help"))


@dataclass(frozen=True)
class NavEntry:
    """One entry: its word, its address, who it is for, and the templates it is current on.

    `group` is a key of `GROUPS`; `first` entries stand in the phone's bar.
    """

    label: str
    address: str
    templates: tuple[str, ...]
    group: str = "rack"
    first: bool = False


ENTRIES: tuple[NavEntry, ...] = (
    NavEntry("Rack", "/", ("rack/rack.html",), first=True),
    NavEntry("Plan", "/plan", ("planning/plan.html", "planning/what_if.html"), first=True),
    NavEntry("Add", "/add", ("rack/add.html",), first=True),
    NavEntry("Import", "/import", ("importing/import.html", "importing/import_report.html")),
    NavEntry(
        "Bench",
        "/bench",
        ("bench/bench.html", "bench/job.html", "bench/job_paper.html"),
        "shop",
        first=True,
    ),
    NavEntry(
        "Work ahead",
        "/workload",
        ("bench/workload.html", "bench/workload_none.html", "bench/stock.html"),
        "shop",
    ),
    NavEntry(
        "Notices",
        "/notices",
        (
            "notices/notices.html",
            "notices/notice.html",
            "notices/notice_send.html",
            "notices/notice_rules.html",
            "notices/notice_wording.html",
            "notices/notice_customers.html",
        ),
        "shop",
    ),
    NavEntry("Past forecasts", "/past-forecasts", ("forecasts/look_back.html",), "shop"),
    NavEntry("Members and keys", "/people", ("accounts/people.html",), "shop"),
    NavEntry("Your account", "/account", ("accounts/account.html",), "shop"),
    NavEntry("Help", "/help", ("help/index.html", "help/chapter.html", "help/api.html"), "help"),
)


def entry_of(template: str) -> NavEntry | None:
    """Find the entry that is current on the page of this template; None on a page between."""
    return next((entry for entry in ENTRIES if template in entry.templates), None)
