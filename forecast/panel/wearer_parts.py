"""Wearer parts: how is a log cut into parts, and where are they kept and worked on?

A part holds whole wearers, since a wearer's pairs inform each other. A `Runner` keeps parts here or
on other machines, and does the same with each of them.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from itertools import pairwise
from typing import Any, Protocol

from solespan.forecast.log import WearLog

__all__ = ["Runner", "Threads", "wearer_parts"]


class Runner(Protocol):
    """Where parts are kept and worked on."""

    @property
    def workers(self) -> int:
        """How many parts are worked on at a time."""

    def hold(self, parts: list[Any]) -> list[Any]:
        """Bring parts to where they are worked on; handles of them."""

    def share(self, value: Any) -> Any:
        """Bring one value to every worker; a handle of it."""

    def map(self, function: Callable[..., Any], *columns: list[Any]) -> list[Any]:
        """Do something with each part (or handle of one); parts, or handles of them."""

    def gather(self, parts: list[Any]) -> list[Any]:
        """Fetch what is behind handles."""


class Threads:
    """Parts are kept in this process, and worked on by two threads."""

    workers = 2

    def hold(self, parts: list[Any]) -> list[Any]:
        """Return the parts: they are here."""
        return parts

    def share(self, value: Any) -> Any:
        """Return the value: it is here."""
        return value

    def map(self, function: Callable[..., Any], *columns: list[Any]) -> list[Any]:
        """Do something with each part."""
        with ThreadPoolExecutor(self.workers) as pool:
            return list(pool.map(function, *columns))

    def gather(self, parts: list[Any]) -> list[Any]:
        """Return the parts: they are here."""
        return parts


def wearer_parts(log: WearLog, many: int) -> list[WearLog]:
    """Cut a log into at most so many parts of whole wearers, sorted by wearer_id.

    Wearers none of whose pairs ever had a sole are left out.
    """
    with_sole = set(log.soles["pair_id"])
    owners = log.pairs.loc[log.pairs["pair_id"].isin(with_sole), "wearer_id"]
    wearers = sorted(set(owners))
    many = max(min(many, len(wearers)), 1)
    cuts = [len(wearers) * k // many for k in range(many + 1)]
    return [log.of_wearers(wearers[a:b]) for a, b in pairwise(cuts)]
