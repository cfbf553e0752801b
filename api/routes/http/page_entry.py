"""Entry of a page: its routes, its place in the navigation, and what its addresses need.

A module of pages ends in `PAGE`, and `api.routes.page_register` lists it. The service mounts the
routes, the navigation and the table of access follow from the entry.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from fastapi import APIRouter

from solespan.dashboards.navigation import NavEntry

__all__ = ["Need", "PageEntry", "navigation_of"]


@dataclass(frozen=True)
class Need:
    """What addresses need that match a pattern: the word for looking, and that for changing."""

    pattern: str
    look: str
    change: str


@dataclass(frozen=True)
class PageEntry:
    """One module of pages.

    router : APIRouter
    nav : NavEntry, optional
        Its place in the navigation; None = no entry of its own.
    under : str
        The address of the navigation's entry that is current on its pages, without `nav`.
    templates : tuple of str
        Its pages, for that entry.
    needs : tuple of Need
        For addresses that do not need `read` for looking and `write` for changing.
    uploads : tuple of str
        Addresses that take files, larger than other bodies.
    """

    router: APIRouter
    nav: NavEntry | None = None
    under: str = ""
    templates: tuple[str, ...] = ()
    needs: tuple[Need, ...] = ()
    uploads: tuple[str, ...] = ()


def navigation_of(pages: Sequence[PageEntry]) -> tuple[NavEntry, ...]:
    """Give the entries of the navigation in the order of the pages, with all their templates."""
    return tuple(
        replace(
            page.nav,
            templates=tuple(
                template
                for other in pages
                if other is page or other.under == page.nav.address
                for template in other.templates
            ),
        )
        for page in pages
        if page.nav is not None
    )
