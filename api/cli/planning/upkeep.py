"""Commands of upkeep: `routes`, `care`, `life` and `calendar` of a rack."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console
from rich.table import Table
from rich.text import Text

from solespan.api.errors import Refused

__all__ = ["register"]

Whose = Annotated[str | None, typer.Option("--wearer", help="Whose rack; needed with several.")]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command("routes")(routes)
    app.command("care")(care)
    app.command("life")(life)
    app.command("calendar")(calendar)


def routes(
    pair: Annotated[
        str | None, typer.Argument(help="A pair to compare them for; none = list them.")
    ] = None,
    wearer: Whose = None,
    occasion: Annotated[str | None, typer.Option(help="Day it is wanted for.")] = None,
    chance: Annotated[float, typer.Option(help="How sure to be of that.")] = 0.9,
    forget: Annotated[
        str | None,
        typer.Option(help="ROUTE to take away; a default comes back."),
    ] = None,
) -> None:
    """List the ways to a new sole, compare them for one pair, or take one away."""
    if forget is not None:
        _forget(wearer, forget)
    if pair is None:
        _list(wearer)
    else:
        _compare(pair, occasion, chance)


def care(
    wearer: Whose = None,
    done: Annotated[list[str] | None, typer.Option(help="PAIR:CARE that was done today.")] = None,
) -> None:
    """List the care that is due, or log that it was done."""
    from solespan.api.cli.opening import serving
    from solespan.api.cli.planning.rack_tools import named, whose
    from solespan.api.services.planning import care as cares

    with serving() as services:
        for text in done or []:
            pair_id, _, care = text.rpartition(":")
            if not pair_id:
                raise Refused(
                    f"{text!r} does not say which care was done on which pair.",
                    where="--done",
                    accepted="PAIR:CARE, as the list of care due says it",
                    remedy="Write for example --done oxford:brush",
                )
            with services.database.writing() as session:
                logged = cares.log_care(services, session, pair_id, care, None)
            typer.echo(f"Logged: {logged['care']} on {logged['pair_id']}, {logged['done_on']}.")
        wearer_id = whose(services, wearer)
        answer = cares.care_due(services, wearer_id)
    if not answer["items"]:
        typer.echo("No care is due.")
        return
    table = Table("pair", "due since", "what", "log it as", "why", title="Care that is due")
    for one in answer["items"]:
        pair = named(one["pair_id"], {one["pair_id"]: one["label"]})
        code = f"{one['pair_id']}:{one['care']}"
        table.add_row(Text(pair), one["since"], one["what"], Text(code), Text(one["reason"]))
    Console().print(table)


def life(
    wearer: Whose = None,
    stands: Annotated[
        list[str] | None,
        typer.Option(help="CONSTRUCTION=RESOLES it stands in all, kept from now on."),
    ] = None,
) -> None:
    """Say what each pair costs per wear, and whether its next sole is worth it."""
    from solespan.api.cli.opening import serving
    from solespan.api.cli.planning.rack_tools import bring_up_to_date, named, whose
    from solespan.api.schemas.planning.resole_options import LifeSettingsAsked
    from solespan.api.services.planning.cost_of_ownership import (
        change_stood,
        life_of_rack,
        read_stood,
    )

    edited = dict(_stood(text) for text in (stands or []))
    with serving() as services:
        wearer_id = whose(services, wearer)
        if edited:
            with services.database.writing() as session:
                known = read_stood(session)
                kept = {name: known["resoles_stood"][name] for name in known["edited"]}
                choices = LifeSettingsAsked(resoles_stood=kept | edited)
                change_stood(session, choices, frozenset({known["version"]}))
            told = ", ".join(f"{name} {count}" for name, count in edited.items())
            typer.echo(f"Kept: resoles stood by {told}.")
        bring_up_to_date(services)
        answer = life_of_rack(services, wearer_id)
    table = Table("pair", "wears", "a wear", "resoles left", "soles a year", "advice")
    for one in answer["items"]:
        cost = one["cost_per_wear_minor"]
        soles = one["soles_per_year"]
        table.add_row(
            Text(named(one["pair_id"], {one["pair_id"]: one["label"]})),
            str(one["wears"]),
            "-" if cost is None else f"{cost / 100:.2f}",
            str(one["resoles_left"]),
            "-" if soles is None else f"{soles:.2f}",
            one["advice"],
        )
    console = Console()
    console.print(table)
    for one in answer["items"]:
        console.print(f"{one['pair_id']}: {one['arithmetic']}", markup=False, highlight=False)
    typer.echo(f"New soles of the rack: {answer['cost_per_year_minor'] / 100:.2f} a year.")
    typer.echo(answer["source"])


def calendar(
    wearer: Whose = None,
    out: Annotated[
        Path | None, typer.Option("--out", "-o", help="Write the calendar to this file.")
    ] = None,
    address: Annotated[
        bool, typer.Option("--new-address", help="Make a secret address; the old one ends.")
    ] = False,
) -> None:
    """Write send-by dates, returns and planned wears as a calendar, or give its address."""
    from solespan.api.cli.files import writing_to
    from solespan.api.cli.opening import serving
    from solespan.api.cli.planning.rack_tools import bring_up_to_date, whose
    from solespan.api.services.planning import calendar as calendars

    with serving() as services:
        wearer_id = whose(services, wearer)
        if address:
            with services.database.writing() as session:
                made = calendars.new_address(services, session, wearer_id)
            typer.echo(f"Address under the service's own: {made['path']}")
            typer.echo("It is shown only once. Anyone who knows it can read this calendar.")
            return
        bring_up_to_date(services)
        body = calendars.calendar_of(services, wearer_id)
    if out is None:
        typer.echo(body.decode(), nl=False)
        return
    with writing_to(out, "--out"):
        out.write_bytes(body)
    typer.echo(f"Calendar written to {out}")


def _compare(pair: str, occasion: str | None, chance: float) -> None:
    """Show the routes compared, and each in a sentence."""
    from solespan.api.cli.opening import serving
    from solespan.api.cli.planning.rack_tools import bring_up_to_date, day_of
    from solespan.api.services.planning.resole_options import routes_for_pair

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


def _list(wearer: str | None) -> None:
    """List the owner's routes."""
    from solespan.api.cli.opening import serving
    from solespan.api.cli.planning.rack_tools import whose
    from solespan.api.services.planning.resole_options import routes_of

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


def _forget(wearer: str | None, route_id: str) -> None:
    """Take a route away."""
    from solespan.api.cli.opening import serving
    from solespan.api.cli.planning.rack_tools import whose
    from solespan.api.services.planning.resole_options import forget_route

    with serving() as services:
        wearer_id = whose(services, wearer)
        with services.database.writing() as session:
            forget_route(session, wearer_id, route_id)
    typer.echo(f"The route {route_id} of {wearer_id} is taken away.")


def _stood(text: str) -> tuple[str, int]:
    from solespan.forecast.frames import CONSTRUCTIONS

    name, _, count = text.partition("=")
    if name not in CONSTRUCTIONS or not count.isascii() or not count.isdigit() or int(count) > 30:
        raise Refused(
            f"{text!r} does not say how many resoles a construction allows.",
            where="--stands",
            accepted=f"CONSTRUCTION=0 to 30, with one of {', '.join(CONSTRUCTIONS)}",
            remedy="Write for example --stands goodyear_welted=5",
        )
    return name, int(count)
