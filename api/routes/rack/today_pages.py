"""Page routes of today.

What happens when a wearer says what the day is for, that it is wet, or not this pair today?
"""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from solespan.api.routes.http.page_entry import PageEntry
from solespan.api.routes.http.pages import (
    PageRoute,
    Typed,
    back_to,
    do_once,
    read_cookie,
    refuse_foreign_form,
    set_cookie,
)
from solespan.api.routes.http.requests import Context, IdempotencyKey
from solespan.api.routes.rack.wear_pages import page_of_ours
from solespan.api.services.rack.day_choice import (
    SaidOfDay,
    keep_code_of_week,
    read_day_choice,
    write_day_choice,
)
from solespan.api.services.rack.rack_extras_page import whose

__all__ = ["DAY", "PAGE"]

DAY = "day"  # the cookie of what was said of today
DAY_KEPT_S = 2 * 86_400
router = APIRouter(route_class=PageRoute)


@router.post("/today")
def choose_for_today(ctx: Context, request: Request, typed: Typed, key: IdempotencyKey) -> Response:
    """Keep what was said of today, and the dress code of each such weekday where that is asked."""
    refuse_foreign_form(request, typed)
    wearer_id, _, zone = whose(ctx, typed.get("wearer", ""))
    today = ctx.clock.today(zone)
    said = read_day_choice(read_cookie(request, DAY), today)
    if typed.get("skip"):
        said = said.without(typed["skip"])
    elif typed.get("do") == "clear":
        said = SaidOfDay(said.code, said.wet)
    else:
        code, weekly = typed.get("code", ""), typed.get("weekly") == "true"
        said = SaidOfDay(None if weekly else code, typed.get("wet") == "true", said.skipped)
        if weekly:
            do_once(
                ctx,
                key,
                "POST /today",
                typed,
                lambda session: {
                    "done": keep_code_of_week(session, ctx.clock, wearer_id, today, code).outcome
                },
            )
    answer = back_to(page_of_ours(typed))
    set_cookie(request, answer, DAY, write_day_choice(today, said), max_age_s=DAY_KEPT_S)
    return answer


PAGE = PageEntry(router)
