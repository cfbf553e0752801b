"""Page routes of the what if.

How does an owner ask with a browser what other habits would do to the dates?

The form only asks: it is sent with GET, and nothing is kept.
"""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request, Response

from solespan.api.errors import NotFound, Refused, SolespanError
from solespan.api.routes.http.page_entry import PageEntry
from solespan.api.routes.http.pages import PageRoute, Words, page_answer, told
from solespan.api.routes.http.requests import Context
from solespan.api.schemas.forms import FormProblem, read_column
from solespan.api.services.planning.habits import forecasts_if
from solespan.api.services.planning.page import pairs_to_choose
from solespan.api.services.rack.rack_extras_page import whose
from solespan.api.services.rack.records import list_records
from solespan.dashboards.pages.planning.what_if import what_if_page
from solespan.forecast.frames import Column
from solespan.forecast.planning import CONDITION_NAMES
from solespan.forecast.values import accepted

__all__ = ["PAGE"]

router = APIRouter(route_class=PageRoute)
MOST_PAIRS = 500
_PACE = Column("pace", "number", "wears a week", low=0, high=7)
_REST = Column("rest", "integer", "days of rest", low=0, high=6)
_SHARE = Column("share", "number", "per cent of the wear days", unit="%", low=0, high=100)
_MEND = "Correct it and ask again; asking changes nothing."


@router.get("/what-if")
def read_what_if(
    ctx: Context,
    request: Request,
    wearer: Words = "",
    pair: Words = "",
    pace: Words = "",
    rest: Words = "",
    condition: Words = "",
    share: Words = "",
) -> Response:
    """Show the dates of a rack as they are, and as they would be under another habit."""
    wearer, wearers, zone = whose(ctx, wearer)
    with ctx.database.reading() as session:
        pairs = list_records(session, "pairs", equal={"wearer_id": wearer}, limit=MOST_PAIRS)
        choices = pairs_to_choose(session, wearer, pairs)
    answer, problem, status = None, "", 200
    try:
        habits = _habits(pair.strip(), pace.strip(), condition.strip(), share.strip())
        days = _read(_REST, rest)
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
        "conditions": list(CONDITION_NAMES.items()),
        "typed": {
            "pair": pair,
            "pace": pace,
            "rest": rest,
            "condition": condition,
            "share": share,
        },
        "problem": problem,
    }
    return page_answer(request, "planning/what_if.html", context, status)


def _habits(pair_id: str, pace: str, condition: str, share: str) -> list[dict[str, Any]]:
    if not pair_id and not pace and not condition:
        return []
    if not pair_id:
        raise Refused("No pair was chosen for this habit.", remedy=_MEND)
    if condition:
        return [*_condition(pair_id, condition, share), *(_pace(pair_id, pace) if pace else [])]
    return _pace(pair_id, pace)


def _condition(pair_id: str, condition: str, share: str) -> list[dict[str, Any]]:
    percent = _read(_SHARE, share)
    if percent is None:
        raise Refused(
            "No share of the wear days was given.", accepted=accepted(_SHARE), remedy=_MEND
        )
    habit = {"kind": "condition", "pair_id": pair_id, "condition": condition}
    return [habit | {"share": percent / 100.0}]


def _pace(pair_id: str, pace: str) -> list[dict[str, Any]]:
    wears = _read(_PACE, pace)
    if not wears:
        return [{"kind": "retire", "pair_id": pair_id}]
    return [{"kind": "pace", "pair_id": pair_id, "wears_per_week": wears}]


def _read(column: Column, text: str) -> Any:
    try:
        return read_column(column, {column.name: text})
    except FormProblem:
        raise Refused(
            f"{text!r} is no number of {column.meaning}.", accepted=accepted(column), remedy=_MEND
        ) from None


PAGE = PageEntry(router, under="/plan", templates=("planning/what_if.html",))
