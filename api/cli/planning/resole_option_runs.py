"""Resole option commands at work.

What does the command about ways to a new sole do: list, compare, take away?
"""

from __future__ import annotations

import typer
from rich.console import Console
from rich.table import Table
from rich.text import Text

from solespan.api.cli.opening import serving
from solespan.api.cli.planning.rack_tools import bring_up_to_date, day_of, whose
from solespan.api.services.planning.resole_options import forget_route, routes_for_pair, routes_of

__all__ = ["run_compare", "run_forget", "run_list"]


def run_forget(wearer: str | None, route_id: str) -> None:
    """Take a route away."""
    with serving() as services:
        wearer_id = whose(services, wearer)
        with services.database.writing() as session:
            forget_route(session, wearer_id, route_id)
    typer.echo(f"The route {route_id} of {wearer_id} is taken away.")


def run_list(wearer: str | None) -> None:
    """List the owner's routes."""
    with serving() as services:
        routes = routes_of(services, whose(services, wearer))
    table = Table("route", "name", "wait", "away, 5 and 9 in 10", "price", "numbers from")
    for one in routes:
        table.add_row(
            Text(one["route_id"]),
            Text(one["name"]),
            f"{one['wait_days']} d",
            f"{one['lead_days_p50']} to {one['lead_days_p90']} d",
            f"{one['price_minor'] / 100:.2f} {one['currency']}",
            "the owner" if one["edited"] else "common practice",
        )
    Console().print(table)


def run_compare(pair: str, occasion: str | None, chance: float) -> None:
    """Show the routes compared, and each in a sentence."""
    day = None if occasion is None else day_of(occasion, "--occasion")
    with serving() as services:
        bring_up_to_date(services)
        answer = routes_for_pair(services, pair, occasion=day, chance=chance)
    table = Table("route", "can do it", "price", "book by", "hand over", "back", "chance")
    for one in answer["items"]:
        back = f"{one['back_on_p50']} to {one['back_on_p90']}"
        there = "-" if one["chance_back"] is None else f"{one['chance_back']:.0%}"
        price = f"{one['price_minor'] / 100:.2f} {one['currency']}"
        table.add_row(
            Text(one["name"]),
            "yes" if one["can_do"] else "no",
            price,
            one["book_by"],
            one["hand_over_on"],
            back,
            there,
        )
    console = Console()
    console.print(table)
    for one in answer["items"]:
        said = f"{one['name']}: {one['sentence']}"
        lost = f" Lost by it: {one['loses']}." if one["loses"] else ""
        lacks = f" It {one['lacks']}." if one["lacks"] else ""
        source = "" if one["edited"] else " (Numbers: common practice; edit them.)"
        console.print(f"{said}{lacks}{lost}{source}", markup=False, highlight=False)
