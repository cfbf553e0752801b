"""How does an owner plan a rack from a terminal, and see routes, care, cost and the calendar?"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

__all__ = ["register"]

Whose = Annotated[str | None, typer.Option("--wearer", help="Whose rack; needed with several.")]
Days = Annotated[int | None, typer.Option("--rest", help="Full days of rest after wear.")]


def register(app: typer.Typer) -> None:
    """Add `plan`, `what-if`, `routes`, `care`, `life` and `calendar`."""

    @app.command("plan")
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
        from solespan.api.cli.planning.planning_runs import run_plan

        values = {
            "weeks": weeks,
            "most_away": away,
            "budget_minor_per_quarter": None if budget is None else round(100 * budget),
            "wear": wear,
            "week": None if week is None else [code.strip() for code in week.split(",")],
            "rest_days": rest,
            "rest_days_wet": max(rest, rest_wet),
        }
        run_plan(wearer, values, occasion or [], again=again, csv=csv)

    @app.command("what-if")
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
        from solespan.api.cli.planning.planning_runs import run_what_if

        run_what_if(wearer, pace or [], retire or [], trip or [], rest=rest, follow=plan)

    @app.command("routes")
    def routes(
        pair: Annotated[
            str | None, typer.Argument(help="A pair to compare them for; none = list them.")
        ] = None,
        wearer: Whose = None,
        occasion: Annotated[str | None, typer.Option(help="Day it is wanted for.")] = None,
        chance: Annotated[float, typer.Option(help="How sure to be of that.")] = 0.9,
        forget: Annotated[
            str | None,
            typer.Option(help="ROUTE to take away; over a default, the default stands again."),
        ] = None,
    ) -> None:
        """List the ways to a new sole, compare them for one pair, or take one away."""
        from solespan.api.cli.planning.resole_option_runs import run_compare, run_forget, run_list

        if forget is not None:
            run_forget(wearer, forget)
        if pair is None:
            run_list(wearer)
        else:
            run_compare(pair, occasion, chance)

    @app.command("care")
    def care(
        wearer: Whose = None,
        done: Annotated[
            list[str] | None, typer.Option(help="PAIR:CARE that was done today.")
        ] = None,
    ) -> None:
        """List the care that is due, or log that it was done."""
        from solespan.api.cli.planning.planning_runs import run_care

        run_care(wearer, done or [])

    @app.command("life")
    def life(
        wearer: Whose = None,
        stands: Annotated[
            list[str] | None,
            typer.Option(help="CONSTRUCTION=RESOLES it stands in all, kept from now on."),
        ] = None,
    ) -> None:
        """Say what each pair costs per wear, and whether its next sole is worth it."""
        from solespan.api.cli.planning.planning_runs import run_life

        run_life(wearer, stands or [])

    @app.command("calendar")
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
        from solespan.api.cli.planning.planning_runs import run_calendar

        run_calendar(wearer, out, new_address=address)
