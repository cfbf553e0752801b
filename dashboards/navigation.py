"""Navigation: which pages are reached from every page, and which one is the reader on?

On a phone the entries that are `first` stand in a bar within reach of the thumb. A wide screen has
one line of them, without those that are `rare`. All of them stand at the foot of every page. The
service makes the entries of its register of pages.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

__all__ = ["GROUPS", "RACK", "NavEntry", "entry_of", "shown_entries"]

RACK = "/rack"  # where the rack is in a shop, whose home is its day


GROUPS = (
    ("rack", "Your rack"),
    ("shop", "The shop"),
    ("settings", "Settings"),
    ("help", "Help"),
)


@dataclass(frozen=True)
class NavEntry:
    """One entry: its word, its address, who it is for, and the templates it is current on.

    `group` is a key of `GROUPS`; `first` entries stand in the phone's bar, `rare` ones in no bar.
    """

    label: str
    address: str
    group: str = "rack"
    first: bool = False
    rare: bool = False
    templates: tuple[str, ...] = ()


def shown_entries(
    entries: Sequence[NavEntry], template: str, *, shop: bool
) -> tuple[NavEntry, ...]:
    """Leave out the shop's entries for a reader without a shop, but not on a page of the shop.

    On the shop's pages the bars hold the shop's entries, and of the rack's the rack itself.
    """
    here = entry_of(template, entries)
    if shop:
        return tuple(_in_a_shop(entry) for entry in entries)
    if here is None or here.group != "shop":
        return tuple(entry for entry in entries if entry.group != "shop")
    # a visitor of one page of the shop: its bar, and the rack stays at its own address
    return tuple(
        replace(one, first=False, rare=one.address != "/") if one.group == "rack" else one
        for one in entries
    )


def _in_a_shop(entry: NavEntry) -> NavEntry:
    if entry.group != "rack":
        return entry
    home = entry.address == "/"
    return replace(entry, address=RACK if home else entry.address, first=False, rare=not home)


def entry_of(template: str, entries: Sequence[NavEntry]) -> NavEntry | None:
    """Find the entry that is current on the page of this template; None on a page between."""
    return next((entry for entry in entries if template in entry.templates), None)
