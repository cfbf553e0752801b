"""Command options: which options and readings do the commands share?"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, timedelta
from typing import TYPE_CHECKING, Annotated

import typer

from solespan.api.errors import Refused

if TYPE_CHECKING:
    from solespan.api.services.forecasts.dask_runner import DaskRunner

__all__ = [
    "MOST_LISTED",
    "Dask",
    "Limit",
    "On",
    "Pair",
    "Wearer",
    "Whose",
    "Yes",
    "cluster_at",
    "find_group",
    "find_lists",
    "read_day",
]

MOST_LISTED = 1000

Pair = Annotated[str, typer.Argument(help="The pair's id or its name.")]
Whose = Annotated[str | None, typer.Option("--wearer", help="Whose rack; needed with several.")]
Wearer = Annotated[str | None, typer.Option("--wearer", help="Only this wearer's.")]
On = Annotated[
    str | None, typer.Option("--on", help="The day: YYYY-MM-DD, today or yesterday. Default today.")
]
Limit = Annotated[int, typer.Option("--limit", min=1, help="At most so many rows.")]
Dask = Annotated[
    str | None,
    typer.Option("--dask", metavar="ADDRESS", help="Split the work over this Dask scheduler."),
]
Yes = Annotated[bool, typer.Option("--yes", help="Do not ask.")]

_DAYS_BACK = {"today": 0, "yesterday": 1}


def read_day(text: str | None, today: date, option: str = "--on", *, past: bool = False) -> date:
    """Read a day; none is today. Raises `Refused`, also for a `past` day that lies ahead."""
    if text is None or text in _DAYS_BACK:
        return today - timedelta(days=_DAYS_BACK[text or "today"])
    try:
        day = date.fromisoformat(text)
        readable = len(text) == len("YYYY-MM-DD")
    except ValueError:
        readable = False
    if not readable or not date(1900, 1, 1) <= day or (past and day > today):
        raise Refused(
            f"{text!r} is no day{' to look from' if option == '--as-of' else ''}.",
            where=option,
            accepted="YYYY-MM-DD, today or yesterday" + (f", up to {today}" if past else ""),
            remedy=f"Write for example {option} {today}",
        )
    return day


@contextmanager
def cluster_at(address: str | None) -> Iterator[DaskRunner | None]:
    """Connect to a Dask scheduler in this block; None without an address."""
    from solespan.api.services.forecasts.dask_runner import dask_cluster

    if address is None:
        yield None
        return
    with dask_cluster(address) as cluster:
        yield cluster


def find_group(app: typer.Typer, name: str, text: str) -> typer.Typer:
    """Return a group of commands, which the first module that needs it adds."""
    for known in app.registered_groups:
        if known.name == name and known.typer_instance is not None:
            return known.typer_instance
    made = typer.Typer(help=text, no_args_is_help=True)
    app.add_typer(made, name=name)
    return made


def find_lists(app: typer.Typer) -> typer.Typer:
    """Return the group of the commands that list what is kept."""
    return find_group(app, "list", "List what is kept.")
