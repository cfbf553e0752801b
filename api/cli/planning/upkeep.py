"""Commands of upkeep: `routes`, `care`, `life` and `calendar` of a rack."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.console import RenderableType

from solespan.api.cli.files import PIPE
from solespan.api.cli.grid import grid
from solespan.api.cli.options import Whose, read_day
from solespan.api.cli.output import Format, Out, OutputFormat, note, show
from solespan.api.cli.planning import lists
from solespan.api.errors import Refused

__all__ = ["register"]


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
    form: Format = OutputFormat.TABLE,
    out: Out = PIPE,
) -> None:
    """List the ways to a new sole, compare them for one pair, or take one away."""
    if forget is not None:
        _forget(wearer, forget)
    if pair is None:
        lists.routes(wearer, form, out)
    else:
        _compare(pair, occasion, chance, form, out)


def care(
    wearer: Whose = None,
    done: Annotated[
        list[str] | None, typer.Option(help="PAIR:CARE that was done; PAIR:all = all that is due.")
    ] = None,
    start: Annotated[
        bool, typer.Option("--start", help="Count care that was never noted from today on.")
    ] = False,
    on: Annotated[
        str | None, typer.Option("--on", help="The day of --done. Default today.")
    ] = None,
    form: Format = OutputFormat.TABLE,
    out: Out = PIPE,
) -> None:
    """List the care that is due, or log that it was done."""
    from solespan.api.cli.opening import serving
    from solespan.api.cli.planning.rack_tools import named, whose
    from solespan.api.schemas.planning.care import CareDue
    from solespan.api.services.planning import care as cares
    from solespan.api.services.rack.pair_names import pair_named

    with serving("care") as services:
        for text in done or []:
            pair, _, care = text.rpartition(":")
            if not pair:
                raise Refused(
                    f"{text!r} does not say which care was done on which pair.",
                    where="--done",
                    accepted="PAIR:CARE, as the list of care due says it",
                    remedy="Write for example --done oxford:brush",
                )
            day = None if on is None else read_day(on, services.clock.today(), past=True)
            if care == "all":
                with services.database.writing() as session:
                    told = cares.log_all_care(services, session, pair_named(session, pair))
                note(f"Logged: {len(told['cares'])} kinds of care on {told['pair_id']}.")
                continue
            with services.database.writing() as session:
                logged = cares.log_care(services, session, pair_named(session, pair), care, day)
            note(f"Logged: {logged['care']} on {logged['pair_id']}, {logged['done_on']}.")
        wearer_id = whose(services, wearer)
        if start:
            with services.database.writing() as session:
                begun = cares.start_counting(services, session, wearer_id)
            note(f"Counted from today on: {begun['started']} kinds of care.")
        answer = cares.care_due(services, wearer_id)
    rows = [
        (
            named(one["pair_id"], {one["pair_id"]: one["label"]}),
            one["since"],
            one["what"],
            f"{one['pair_id']}:{one['care']}",
            one["reason"],
        )
        for one in answer["items"]
    ]
    headings = ("pair", "due since", "what", "log it as", "why")
    table = grid(headings, rows, title="Care that is due", spare=["why"])
    empty = "No care is due."
    show(answer, CareDue, form=form, out=out, table=lambda: [table if rows else empty])


def life(
    wearer: Whose = None,
    stands: Annotated[
        list[str] | None,
        typer.Option(help="CONSTRUCTION=RESOLES it stands in all, kept from now on."),
    ] = None,
    form: Format = OutputFormat.TABLE,
    out: Out = PIPE,
) -> None:
    """Say what each pair costs per wear, and whether its next sole is worth it."""
    from solespan.api.cli.opening import serving
    from solespan.api.cli.planning.rack_tools import bring_up_to_date, whose
    from solespan.api.schemas.planning.resole_options import LifeOfRack, LifeSettingsAsked
    from solespan.api.services.planning.cost_of_ownership import (
        change_stood,
        life_of_rack,
        read_stood,
    )

    edited = dict(_stood(text) for text in (stands or []))
    with serving("life") as services:
        wearer_id = whose(services, wearer)
        if edited:
            with services.database.writing() as session:
                known = read_stood(session)
                kept = {name: known["resoles_stood"][name] for name in known["edited"]}
                choices = LifeSettingsAsked(resoles_stood=kept | edited)
                change_stood(session, choices, frozenset({known["version"]}))
            told = ", ".join(f"{name} {count}" for name, count in edited.items())
            note(f"Kept: resoles stood by {told}.")
        bring_up_to_date(services)
        answer = life_of_rack(services, wearer_id)
    show(answer, LifeOfRack, form=form, out=out, table=lambda: _life_tables(answer))


def _life_tables(answer: Mapping[str, Any]) -> Iterator[RenderableType]:
    from solespan.api.cli.planning.rack_tools import named
    from solespan.dashboards.wording import money

    rows = []
    for one in answer["items"]:
        cost, soles = one["cost_per_wear_minor"], one["soles_per_year"]
        rows.append(
            (
                named(one["pair_id"], {one["pair_id"]: one["label"]}),
                one["wears"],
                money(cost, one["currency"]),
                one["resoles_left"],
                None if soles is None else f"{soles:.2f}",
                one["verdict"],
                one["next_sole"],
            )
        )
    yield grid(("pair", "wears", "a wear", "resoles left", "soles a year", "now", "then"), rows)
    for one in answer["items"]:
        yield f"{one['pair_id']}: {one['sentence']} {one['arithmetic']}"
    per_year = money(answer["cost_per_year_minor"], answer["currency"])
    yield f"New soles of the rack: {per_year} a year."
    yield str(answer["source"])


def calendar(
    wearer: Whose = None,
    out: Out = PIPE,
    address: Annotated[
        bool, typer.Option("--new-address", help="Make a secret address; the old one ends.")
    ] = False,
) -> None:
    """Write send-by dates, returns and planned wears as a calendar, or give its address."""
    from solespan.api.cli.files import write_file
    from solespan.api.cli.opening import serving
    from solespan.api.cli.planning.rack_tools import bring_up_to_date, whose
    from solespan.api.services.planning import calendar as calendars

    with serving("calendar") as services:
        wearer_id = whose(services, wearer)
        if address:
            with services.database.writing() as session:
                made = calendars.new_address(services, session, wearer_id)
            typer.echo(f"Address under the service's own: {made['path']}")
            typer.echo("It is shown only once. Anyone who knows it can read this calendar.")
            return
        bring_up_to_date(services)
        body = calendars.calendar_of(services, wearer_id)
    write_file(out, body)
    if out != PIPE:
        note(f"Calendar written to {out}.")


def _compare(pair: str, occasion: str | None, chance: float, form: OutputFormat, out: Path) -> None:
    """Show the routes compared, and each in a sentence."""
    from solespan.api.cli.opening import serving
    from solespan.api.cli.planning.rack_tools import bring_up_to_date
    from solespan.api.schemas.planning.resole_options import RoutesForPair
    from solespan.api.services.planning.resole_options import routes_for_pair
    from solespan.api.services.rack.pair_names import pair_named

    with serving() as services:
        today = services.clock.today()
        day = None if occasion is None else read_day(occasion, today, "--occasion")
        with services.database.reading() as session:
            pair_id = pair_named(session, pair)
        bring_up_to_date(services)
        answer = routes_for_pair(services, pair_id, occasion=day, chance=chance)
    show(answer, RoutesForPair, form=form, out=out, table=lambda: _compared(answer))


def _compared(answer: Mapping[str, Any]) -> Iterator[RenderableType]:
    rows = [
        (
            one["name"],
            one["can_do"],
            f"{one['price_minor'] / 100:.2f} {one['currency']}",
            one["book_by"],
            one["hand_over_on"],
            f"{one['back_on_p50']} to {one['back_on_p90']}",
            None if one["chance_back"] is None else f"{one['chance_back']:.0%}",
        )
        for one in answer["items"]
    ]
    headings = ("route", "can do it", "price", "book by", "hand over", "back", "chance")
    yield grid(headings, rows)
    for one in answer["items"]:
        said = f"{one['name']}: {one['sentence']}"
        lost = f" Lost by it: {one['loses']}." if one["loses"] else ""
        lacks = f" It {one['lacks']}." if one["lacks"] else ""
        source = "" if one["edited"] else " (Numbers: common practice; edit them.)"
        yield f"{said}{lacks}{lost}{source}"


def _forget(wearer: str | None, route_id: str) -> None:
    """Take a route away."""
    from solespan.api.cli.opening import serving
    from solespan.api.cli.planning.rack_tools import whose
    from solespan.api.services.planning.resole_options import forget_route

    with serving("routes --forget") as services:
        wearer_id = whose(services, wearer)
        with services.database.writing() as session:
            forget_route(session, wearer_id, route_id)
    note(f"The route {route_id} of {wearer_id} is taken away.")


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
