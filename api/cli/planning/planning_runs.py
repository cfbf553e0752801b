"""Planning commands at work: what do the planning commands do, and what do they show?"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd
import typer
from rich.console import Console
from rich.table import Table
from rich.text import Text

from solespan.api.cli.opening import serving
from solespan.api.cli.planning.rack_tools import bring_up_to_date, day_of, named, whose, writing_to
from solespan.api.errors import Conflict, Refused
from solespan.api.schemas.planning.resole_options import LifeSettingsAsked
from solespan.api.services.planning import calendar as calendars
from solespan.api.services.planning import care as cares
from solespan.api.services.planning import plans
from solespan.api.services.planning.cost_of_ownership import change_stood, life_of_rack, read_stood
from solespan.api.services.planning.habits import forecasts_if
from solespan.api.storage.planning.planning import plans_of
from solespan.api.wiring import Services
from solespan.dashboards.pages.planning.plan import how_good
from solespan.forecast.frames import CONSTRUCTIONS

__all__ = ["run_calendar", "run_care", "run_life", "run_plan", "run_what_if"]

DAYS_SHOWN = 14


def run_plan(
    wearer: str | None,
    values: dict[str, Any],
    occasions: Sequence[str],
    *,
    again: bool,
    csv: Path | None,
) -> None:
    """Plan, keep the plan, and show the next two weeks, the hand-overs and the reasons."""
    values = values | {"occasions": [_occasion(text) for text in occasions]}
    with serving() as services:
        wearer_id = whose(services, wearer)
        bring_up_to_date(services)
        earlier = None
        if again:
            earlier = plans.earlier_of(_newest_plan(services, wearer_id))
        asked = plans.plan_rack(services, wearer_id, values, earlier=earlier)
        with services.database.writing() as session:
            shown = plans.keep(services, session, asked)
    labels = {p["pair_id"]: p["label"] for p in shown["pairs"]}
    _print_days(shown["days"][:DAYS_SHOWN], labels)
    _print_sends(shown["sends"], labels)
    pairs = Table("pair", "wears", "share", "why", title="Every pair", title_justify="left")
    for one in shown["pairs"]:
        pairs.add_row(
            Text(named(one["pair_id"], labels)),
            str(one["wears"]),
            str(one["share"]),
            Text(one["reason"]),
        )
    Console().print(pairs)
    _print_given_up(shown)
    typer.echo(f"{how_good(shown['gap'])} Kept as plan {shown['plan_id']}.")
    if csv is not None:
        with writing_to(csv, "--csv"):
            pd.DataFrame(shown["days"]).to_csv(csv, index=False)
        typer.echo(f"{len(shown['days'])} days written to {csv}")


def run_what_if(
    wearer: str | None,
    paces: Sequence[str],
    retired: Sequence[str],
    trips: Sequence[str],
    *,
    rest: int | None,
    follow: bool,
) -> None:
    """Show send-by dates and chances as they are and as they would be."""
    habits: list[dict[str, Any]] = [_pace(text) for text in paces]
    habits += [{"kind": "retire", "pair_id": pair} for pair in retired]
    habits += [_trip(text) for text in trips]
    with serving() as services:
        wearer_id = whose(services, wearer)
        bring_up_to_date(services)
        plan_id = _newest_plan(services, wearer_id)["plan_id"] if follow else None
        answer = forecasts_if(services, wearer_id, habits, rest_days=rest, plan_id=plan_id)
    labels = {one["pair_id"]: one["label"] for one in answer["items"]}
    table = Table(
        title=f"Today's habit and the new habit, as of {answer['as_of']}",
        title_justify="left",
        caption="due: middle estimate; wears: a year; - = beyond the horizon",
    )
    for name in ("pair", "send by", "then", "due", "then", "wears", "then"):
        table.add_column(name, no_wrap=name != "pair")
    for one in answer["items"]:
        table.add_row(
            Text(named(one["pair_id"], labels)),
            *(one[f"{name}_{when}"] or "-" for name in ("send_by", "due_p50") for when in _WHEN),
            *(f"{one[f'wear_days_365d_{when}']:.0f}" for when in _WHEN),
        )
    Console().print(table)


_WHEN = ("now", "then")


def run_care(wearer: str | None, done: Sequence[str]) -> None:
    """Log what was done, then list what is due."""
    with serving() as services:
        for text in done:
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


def run_life(wearer: str | None, stands: Sequence[str]) -> None:
    """Keep what was edited, then show what each pair costs and what is advised at its due date."""
    edited = dict(_stood(text) for text in stands)
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


def run_calendar(wearer: str | None, out: Path | None, *, new_address: bool) -> None:
    """Write the calendar to a file or the terminal, or make an address for it."""
    with serving() as services:
        wearer_id = whose(services, wearer)
        if new_address:
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


def _newest_plan(services: Services, wearer_id: str) -> dict[str, Any]:
    with services.database.reading() as session:
        newest = plans_of(session, wearer_id, limit=1)
    if not newest:
        raise Conflict("There is no plan yet.", where=wearer_id, remedy="Make one: solespan plan")
    return newest[0]


def _stood(text: str) -> tuple[str, int]:
    name, _, count = text.partition("=")
    if name not in CONSTRUCTIONS or not count.isascii() or not count.isdigit() or int(count) > 30:
        raise Refused(
            f"{text!r} does not say how many resoles a construction allows.",
            where="--stands",
            accepted=f"CONSTRUCTION=0 to 30, with one of {', '.join(CONSTRUCTIONS)}",
            remedy="Write for example --stands goodyear_welted=5",
        )
    return name, int(count)


def _occasion(text: str) -> dict[str, Any]:
    on, _, rest = text.partition(":")
    code, _, pair = rest.partition(":")
    return {
        "on": day_of(on, "--occasion"),
        "dress_code": code or None,
        "pair_id": pair or None,
    }


def _pace(text: str) -> dict[str, Any]:
    pair, _, wears = text.rpartition("=")
    try:
        return {"kind": "pace", "pair_id": pair, "wears_per_week": float(wears)}
    except ValueError:
        raise Refused(
            f"{text!r} is no pace.",
            where="--pace",
            accepted="PAIR=WEARS, such as oxford=2",
            remedy="Write the pair, an equals sign and the wears a week.",
        ) from None


def _trip(text: str) -> dict[str, Any]:
    span, _, pairs = text.partition("=")
    first, dots, last = span.partition("..")
    if not dots or not pairs:
        raise Refused(
            f"{text!r} is no trip.",
            where="--trip",
            accepted="FIRST..LAST=PAIR,PAIR",
            remedy="Write for example --trip 2027-01-02..2027-01-09=oxford,derby",
        )
    return {
        "kind": "trip",
        "since": day_of(first, "--trip"),
        "until": day_of(last, "--trip"),
        "pair_ids": [pair.strip() for pair in pairs.split(",")],
    }


def _print_days(days: Sequence[dict[str, Any]], labels: dict[str, str | None]) -> None:
    table = Table("day", "for", "pair", title="The next two weeks", title_justify="left")
    for day in days:
        weekday = date.fromisoformat(day["worn_on"]).strftime("%a")
        pair = "-" if day["pair_id"] is None else named(day["pair_id"], labels)
        table.add_row(f"{day['worn_on']} {weekday}", day["dress_code"], Text(pair))
    Console().print(table)


def _print_sends(sends: Sequence[dict[str, Any]], labels: dict[str, str | None]) -> None:
    if not sends:
        typer.echo("No pair goes to the bench in this plan.")
        return
    table = Table("hand over", "back", "pair", "price", title="To the bench", title_justify="left")
    for send in sends:
        price = f"{send['price_minor'] / 100:.2f}"
        pair = Text(named(send["pair_id"], labels))
        table.add_row(send["send_on"], send["back_on"], pair, price)
    Console().print(table)


def _print_given_up(shown: dict[str, Any]) -> None:
    given_up = shown["given_up"]
    if not given_up:
        return
    known = "No plan gives up fewer" if shown["fewest_proven"] else "Perhaps fewer would do"
    wishes = "1 wish" if len(given_up) == 1 else f"{len(given_up)} wishes"
    typer.echo(f"{wishes} cannot be kept. {known}:")
    for one in given_up[:20]:
        typer.echo(f"  {one['sentence']}")
    if len(given_up) > 20:
        typer.echo(f"  and {len(given_up) - 20} more")
