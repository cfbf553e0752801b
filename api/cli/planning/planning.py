"""Commands `plan` and `what-if`: which pair is worn when, and what would other habits do?"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import date
from typing import TYPE_CHECKING, Annotated, Any

import typer
from rich.console import RenderableType

from solespan.api.cli.files import PIPE
from solespan.api.cli.grid import Grid, grid
from solespan.api.cli.options import Whose, read_day
from solespan.api.cli.output import Format, Out, OutputFormat, show
from solespan.api.errors import Conflict, Refused

if TYPE_CHECKING:
    from solespan.api.wiring import Services

__all__ = ["register"]

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
    aim: Annotated[
        list[str] | None,
        typer.Option(
            help="AIM=0 to 4, such as spread=4; 2 is usual. even, spread, cost, occasions or best."
        ),
    ] = None,
    rest: Annotated[int, typer.Option(help="Full days of rest after wear.")] = 1,
    rest_wet: Annotated[int, typer.Option(help="The same after a wet day.")] = 2,
    again: Annotated[
        bool, typer.Option("--again", help="Keep the newest plan where it can be kept.")
    ] = False,
    form: Format = OutputFormat.TABLE,
    out: Out = PIPE,
) -> None:
    """Plan which pair is worn on which day, and when each goes to the bench."""
    from solespan.api.cli.opening import serving
    from solespan.api.cli.planning.rack_tools import bring_up_to_date, whose
    from solespan.api.schemas.planning.planning import PlanShown
    from solespan.api.services.planning import plans

    values: dict[str, Any] = {
        "weeks": weeks,
        "most_away": away,
        "budget_minor_per_quarter": None if budget is None else round(100 * budget),
        "wear": wear,
        "week": None if week is None else [code.strip() for code in week.split(",")],
        "aims": dict(_aim(text) for text in aim or []),
        "rest_days": rest,
        "rest_days_wet": max(rest, rest_wet),
    }
    with serving("plan") as services:
        wearer_id = whose(services, wearer)
        values["occasions"] = [_occasion(services, text) for text in occasion or []]
        bring_up_to_date(services)
        earlier = None
        if again:
            earlier = plans.earlier_of(_newest_plan(services, wearer_id))
        asked = plans.plan_rack(services, wearer_id, values, earlier=earlier)
        with services.database.writing() as session:
            shown = plans.keep(services, session, asked)
    show(shown, PlanShown, form=form, out=out, table=lambda: _plan_tables(shown), rows="days")


def _aim(text: str) -> tuple[str, int]:
    from solespan.forecast.planning.aims import AIMS

    name, _, level = text.partition("=")
    if name not in AIMS or level not in ("0", "1", "2", "3", "4"):
        raise Refused(
            f"{text!r} is no aim.",
            where="--aim",
            accepted=f"one of {', '.join(AIMS)}, then = and 0 to 4",
            remedy="Write, for example: --aim spread=4",
        )
    return name, int(level)


def _plan_tables(shown: Mapping[str, Any]) -> Iterator[RenderableType]:
    from solespan.api.cli.planning.rack_tools import named
    from solespan.dashboards.pages.planning.plan import how_good

    labels = {p["pair_id"]: p["label"] for p in shown["pairs"]}
    yield _days_table(shown["days"][:DAYS_SHOWN], labels)
    yield _sends_table(shown["sends"], labels)
    pairs = [
        (named(one["pair_id"], labels), one["wears"], one["share"], one["reason"])
        for one in shown["pairs"]
    ]
    yield grid(("pair", "wears", "share", "why"), pairs, title="Every pair")
    yield from _given_up(shown)
    yield f"{shown['aim']} {shown['trade']}"
    yield f"{how_good(shown['gap'])} Kept as plan {shown['plan_id']}."


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
    form: Format = OutputFormat.TABLE,
    out: Out = PIPE,
) -> None:
    """Forecast every pair under other habits, beside today's."""
    from solespan.api.cli.opening import serving
    from solespan.api.cli.planning.rack_tools import bring_up_to_date, named, whose
    from solespan.api.schemas.planning.planning import WhatIfAnswer
    from solespan.api.services.planning.habits import forecasts_if

    with serving() as services:
        name = _namer(services)
        habits: list[dict[str, Any]] = [_pace(text, name) for text in (pace or [])]
        habits += [{"kind": "retire", "pair_id": name(pair)} for pair in (retire or [])]
        habits += [_trip(services, text, name) for text in (trip or [])]
        wearer_id = whose(services, wearer)
        bring_up_to_date(services)
        plan_id = _newest_plan(services, wearer_id)["plan_id"] if plan else None
        answer = forecasts_if(services, wearer_id, habits, rest_days=rest, plan_id=plan_id)
    labels = {one["pair_id"]: one["label"] for one in answer["items"]}
    rows = [
        (
            named(one["pair_id"], labels),
            *(one[f"{column}_{when}"] for column in ("send_by", "due_p50") for when in _WHEN),
            *(f"{one[f'wear_days_365d_{when}']:.0f}" for when in _WHEN),
        )
        for one in answer["items"]
    ]
    table = grid(
        ("pair", "send by", "send by then", "due", "due then", "wears", "wears then"),
        rows,
        title=f"Today's habit and the new habit, as of {answer['as_of']}",
        caption="due: middle estimate; wears: a year; - = beyond the horizon",
    )
    show(answer, WhatIfAnswer, form=form, out=out, table=lambda: [table])


def _namer(services: Services) -> Callable[[str], str]:
    """Return what finds the id of a pair by its id or its name."""
    from solespan.api.services.rack.pair_names import pair_named

    def find(text: str) -> str:
        with services.database.reading() as session:
            return pair_named(session, text.strip())

    return find


def _newest_plan(services: Services, wearer_id: str) -> dict[str, Any]:
    from solespan.api.storage.planning.planning import plans_of

    with services.database.reading() as session:
        newest = plans_of(session, wearer_id, limit=1)
    if not newest:
        raise Conflict("There is no plan yet.", where=wearer_id, remedy="Make one: solespan plan")
    return newest[0]


def _occasion(services: Services, text: str) -> dict[str, Any]:
    on, _, rest = text.partition(":")
    code, _, pair = rest.partition(":")
    return {
        "on": read_day(on, services.clock.today(), "--occasion"),
        "dress_code": code or None,
        "pair_id": _namer(services)(pair) if pair else None,
    }


def _pace(text: str, name: Callable[[str], str]) -> dict[str, Any]:
    pair, _, wears = text.rpartition("=")
    try:
        return {"kind": "pace", "wears_per_week": float(wears), "pair_id": name(pair)}
    except ValueError:
        raise Refused(
            f"{text!r} is no pace.",
            where="--pace",
            accepted="PAIR=WEARS, such as oxford=2",
            remedy="Write the pair, an equals sign and the wears a week.",
        ) from None


def _trip(services: Services, text: str, name: Callable[[str], str]) -> dict[str, Any]:
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
        "since": read_day(first, services.clock.today(), "--trip"),
        "until": read_day(last, services.clock.today(), "--trip"),
        "pair_ids": [name(pair) for pair in pairs.split(",")],
    }


def _days_table(days: Sequence[dict[str, Any]], labels: dict[str, str | None]) -> Grid:
    from solespan.api.cli.planning.rack_tools import named

    rows = []
    for day in days:
        weekday = date.fromisoformat(day["worn_on"]).strftime("%a")
        pair = None if day["pair_id"] is None else named(day["pair_id"], labels)
        rows.append((f"{day['worn_on']} {weekday}", day["dress_code"], pair))
    return grid(("day", "for", "pair"), rows, title="The next two weeks")


def _sends_table(sends: Sequence[dict[str, Any]], labels: dict[str, str | None]) -> RenderableType:
    from solespan.api.cli.planning.rack_tools import named

    if not sends:
        return "No pair goes to the bench in this plan."
    rows = [
        (
            send["send_on"],
            send["back_on"],
            named(send["pair_id"], labels),
            f"{send['price_minor'] / 100:.2f}",
        )
        for send in sends
    ]
    return grid(("hand over", "back", "pair", "price"), rows, title="To the bench")


def _given_up(shown: Mapping[str, Any]) -> Iterator[str]:
    given_up = shown["given_up"]
    if not given_up:
        return
    known = "No plan gives up fewer" if shown["fewest_proven"] else "Perhaps fewer would do"
    wishes = "1 wish" if len(given_up) == 1 else f"{len(given_up)} wishes"
    yield f"{wishes} cannot be kept. {known}:"
    for one in given_up[:20]:
        yield f"  {one['sentence']}"
    if len(given_up) > 20:
        yield f"  and {len(given_up) - 20} more"
