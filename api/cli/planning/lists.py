"""Commands of planning: `list plans`, `list routes` and `list care-rules`."""

from __future__ import annotations

import typer

from solespan.api.cli.files import PIPE
from solespan.api.cli.options import Limit, Whose, find_lists
from solespan.api.cli.output import Format, Out, OutputFormat, show_rows

__all__ = ["register"]

PLANS_LISTED = 50


def register(app: typer.Typer) -> None:
    """Add the commands."""
    group = find_lists(app)
    group.command("plans")(plans)
    group.command("routes")(routes)
    group.command("care-rules")(care_rules)


def plans(
    wearer: Whose = None,
    limit: Limit = PLANS_LISTED,
    form: Format = OutputFormat.TABLE,
    out: Out = PIPE,
) -> None:
    """List the newest plans of a rack."""
    from solespan.api.cli.opening import serving
    from solespan.api.cli.planning.rack_tools import whose
    from solespan.api.schemas.planning.planning import PlanPage
    from solespan.api.services.planning.plans import plans_of, shown_plan

    with serving() as services:
        wearer_id = whose(services, wearer)
        with services.database.reading() as session:
            rows = [shown_plan(row) for row in plans_of(session, wearer_id, limit=limit)]
    columns = {"plan": "plan_id", "made at": "made_at", "from": "starts_on", "weeks": "weeks"}
    rows = [row | {"kept": len(row["given_up"])} for row in rows]
    columns |= {"wishes given up": "kept"}
    empty = "There is no plan yet: solespan plan"
    show_rows(PlanPage, rows, columns, form=form, out=out, empty=empty)


def routes(wearer: Whose = None, form: Format = OutputFormat.TABLE, out: Out = PIPE) -> None:
    """List the ways to a new sole that an owner has."""
    from solespan.api.cli.opening import serving
    from solespan.api.cli.planning.rack_tools import whose
    from solespan.api.schemas.planning.resole_options import RoutesOfOwner
    from solespan.api.services.planning.resole_options import routes_of

    with serving() as services:
        rows = routes_of(services, whose(services, wearer))
    rows = [
        row
        | {
            "days_away": f"{row['lead_days_p50']} to {row['lead_days_p90']}",
            "price": f"{row['price_minor'] / 100:.2f} {row['currency']}",
            "numbers": "the owner" if row["edited"] else "common practice",
        }
        for row in rows
    ]
    columns = {"route": "route_id", "name": "name", "days of wait": "wait_days"}
    columns |= {"days away, 5 and 9 in 10": "days_away", "price": "price"}
    columns |= {"numbers from": "numbers"}
    show_rows(RoutesOfOwner, rows, columns, form=form, out=out)


def care_rules(wearer: Whose = None, form: Format = OutputFormat.TABLE, out: Out = PIPE) -> None:
    """List when each care is due on each upper leather."""
    from solespan.api.cli.opening import serving
    from solespan.api.cli.planning.rack_tools import whose
    from solespan.api.schemas.planning.care import CareRuleAnswer, CareRules
    from solespan.api.services.planning.care import rules_of

    with serving() as services:
        wearer_id = whose(services, wearer)
        with services.database.reading() as session:
            rows = rules_of(session, wearer_id)
    columns = {name.replace("_", " "): name for name in CareRuleAnswer.model_fields}
    spare = ("within days", "months", "edited", "source")
    show_rows(CareRules, rows, columns, form=form, out=out, spare=spare)
