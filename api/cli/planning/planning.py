"""Commands `plan` and `what-if`: which pair is worn when, and what would other habits do?"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from rich.console import Console
from rich.table import Table
from rich.text import Text

from solespan.api.errors import Conflict, Refused

if TYPE_CHECKING:
    from solespan.api.wiring import Services

__all__ = ["register"]

Whose = Annotated[str | None, typer.Option("--wearer", help="Whose rack; needed with several.")]
Days = Annotated[int | None, typer.Option("--rest", help="Full days of rest after wear.")]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command("plan")(plan)
    app.command("what-if")(what_if)


DAYS_SHOWN = 14
_WHEN = ("now", "then")


def plan(
    weeks: Annotated[int, typer.Option(help="How many weeks, 1 to 60.")] = 26,
    wearer: Whose = None,
    away: Annotated[int, typer.Option(help="Pairs at the bench at once.")] = 2,
    budget: Annotated[
        float | None, typer.Option(min=0, help="For new soles each quarter, in whole currency.")
    ] = None,
    wear: Annotated[
        str | None, typer.Option(help="as now (without a week), even or uneven.")
    ] = None,
    week: Annotated[
        str | None,
        typer.Option(help="Seven dress codes, Monday first, with commas; none = no pair."),
    ] = None,
    occasion: Annotated[
        list[str] | None,
        typer.Option(help="DAY[:CODE[:PAIR]], such as 2027-02-14:formal:oxford."),
    ] = None,
    rest: Annotated[int, typer.Option(help="Full days of rest after wear.")] = 1,
    rest_wet: Annotated[int, typer.Option(help="The same after a wet day.")] = 2,
    again: Annotated[
        bool, typer.Option("--again", help="Keep the newest plan where it can be kept.")
    ] = False,
    csv: Annotated[Path | None, typer.Option(help="Also write the days to this file.")] = None,
) -> None:
    """Plan which pair is worn on which day, and when each goes to the bench."""
    import pandas as pd

    from solespan.api.cli.files import writing_to
    from solespan.api.cli.opening import serving
    from solespan.api.cli.planning.rack_tools import bring_up_to_date, named, whose
    from solespan.api.services.planning import plans
    from solespan.dashboards.pages.planning.plan import how_good

    values = {
        "weeks": weeks,
        "most_away": away,
        "budget_minor_per_quarter": None if budget is None else round(100 * budget),
        "wear": wear,
        "week": None if week is None else [code.strip() for code in week.split(",")],
        "rest_days": rest,
        "rest_days_wet": max(rest, rest_wet),
        "occasions": [_occasion(text) for text in occasion or []],
    }
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


def what_if(
    wearer: Whose = None,
    pace: Annotated[
        list[str] | None, typer.Option(help="PAIR=WEARS a week, such as oxford=2.")
    ] = None,
    retire: Annotated[list[str] | None, typer.Option(help="PAIR worn no more.")] = None,
    trip: Annotated[
        list[str] | None,
        typer.Option(help="FIRST..LAST=PAIR,PAIR: only these pairs are along."),
    ] = None,
    rest: Days = None,
    plan: Annotated[bool, typer.Option("--plan", help="The newest plan is followed.")] = False,
) -> None:
    """Forecast every pair under other habits, beside today's."""
    from solespan.api.cli.opening import serving
    from solespan.api.cli.planning.rack_tools import bring_up_to_date, named, whose
    from solespan.api.services.planning.habits import forecasts_if

    habits: list[dict[str, Any]] = [_pace(text) for text in (pace or [])]
    habits += [{"kind": "retire", "pair_id": pair} for pair in (retire or [])]
    habits += [_trip(text) for text in (trip or [])]
    with serving() as services:
        wearer_id = whose(services, wearer)
        bring_up_to_date(services)
        plan_id = _newest_plan(services, wearer_id)["plan_id"] if plan else None
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


def _newest_plan(services: Services, wearer_id: str) -> dict[str, Any]:
    from solespan.api.storage.planning.planning import plans_of

    with services.database.reading() as session:
        newest = plans_of(session, wearer_id, limit=1)
    if not newest:
        raise Conflict("There is no plan yet.", where=wearer_id, remedy="Make one: solespan plan")
    return newest[0]


def _occasion(text: str) -> dict[str, Any]:
    from solespan.api.cli.planning.rack_tools import day_of

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
    from solespan.api.cli.planning.rack_tools import day_of

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
    from solespan.api.cli.planning.rack_tools import named

    table = Table("day", "for", "pair", title="The next two weeks", title_justify="left")
    for day in days:
        weekday = date.fromisoformat(day["worn_on"]).strftime("%a")
        pair = "-" if day["pair_id"] is None else named(day["pair_id"], labels)
        table.add_row(f"{day['worn_on']} {weekday}", day["dress_code"], Text(pair))
    Console().print(table)


def _print_sends(sends: Sequence[dict[str, Any]], labels: dict[str, str | None]) -> None:
    from solespan.api.cli.planning.rack_tools import named

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
