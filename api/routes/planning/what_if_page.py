"""Page routes of the what if.

How does an owner ask with a browser what other habits would do to the dates?

The form only asks: it is sent with GET, and nothing is kept.
"""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request, Response

from solespan.api.errors import NotFound, Refused, SolespanError
from solespan.api.routes.http import Context
from solespan.api.routes.page_http import PageRoute, Words, page_answer, told
from solespan.api.services.planning.habits import forecasts_if
from solespan.api.services.planning.page import pairs_to_choose
from solespan.api.services.rack.rack_extras_page import whose
from solespan.api.services.rack.records import list_records
from solespan.dashboards.pages.planning.what_if import what_if_page

__all__ = ["router"]

router = APIRouter(route_class=PageRoute)
MOST_PAIRS = 500
_MEND = "Correct it and ask again; asking changes nothing."


@router.get("/what-if")
def read_what_if(
    ctx: Context,
    request: Request,
    wearer: Words = "",
    pair: Words = "",
    pace: Words = "",
    rest: Words = "",
) -> Response:
    """Show the dates of a rack as they are, and as they would be under another habit."""
    wearer, wearers, zone = whose(ctx, wearer)
    with ctx.database.reading() as session:
        pairs = list_records(session, "pairs", equal={"wearer_id": wearer}, limit=MOST_PAIRS)
        choices = pairs_to_choose(session, wearer, pairs)
    answer, problem, status = None, "", 200
    try:
        habits = _habits(pair.strip(), pace.strip())
        days = _rest(rest.strip())
        if wearer and (habits or days is not None):
            answer = forecasts_if(ctx, wearer, habits, rest_days=days)
    except NotFound:
        raise
    except SolespanError as error:
        problem, status = told(error), error.status
    context = what_if_page(
        None if answer is None else answer["items"],
        today=ctx.clock.today(zone),
        horizon_days=ctx.settings.horizon_days,
    )
    context |= {
        "wearer_id": wearer,
        "wearers": wearers,
        "choices": choices,
        "typed": {"pair": pair, "pace": pace, "rest": rest},
        "problem": problem,
    }
    return page_answer(request, "planning/what_if.html", context, status)


def _habits(pair_id: str, pace: str) -> list[dict[str, Any]]:
    if not pair_id and not pace:
        return []
    if not pair_id:
        raise Refused("No pair was chosen for these wears a week.", remedy=_MEND)
    if pace in ("", "0"):
        return [{"kind": "retire", "pair_id": pair_id}]
    try:
        wears = float(pace.replace(",", "."))
    except ValueError:
        wears = -1.0
    if not 0.0 <= wears <= 7.0:
        raise Refused(
            f"{pace!r} is no number of wears a week.", accepted="0 to 7, such as 1.5", remedy=_MEND
        )
    return [{"kind": "pace", "pair_id": pair_id, "wears_per_week": wears}]


def _rest(text: str) -> int | None:
    if not text:
        return None
    if text not in tuple("0123456"):
        raise Refused(f"{text!r} are no days of rest.", accepted="0 to 6", remedy=_MEND)
    return int(text)
