"""Home page: what does a browser get of the whole rack?"""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

import pandas as pd
from fastapi import APIRouter, Request, Response

from solespan.api.routes.http.page_entry import PageEntry
from solespan.api.routes.http.pages import PageRoute, Words, page_answer
from solespan.api.routes.http.requests import Context
from solespan.api.services.context import AppContext
from solespan.api.services.rack.rack_page import rack_seen
from solespan.dashboards.navigation import NavEntry
from solespan.dashboards.order import label_of
from solespan.dashboards.pages.rack.rack import first_shown, rack_page
from solespan.dashboards.pages.rack.today import today_panel

__all__ = ["PAGE"]

DONE = {
    "wear": "The wear is logged.",
    "already": "This day was logged already; nothing changed.",
    "changed": "The wear is changed.",
    "undone": "The wear is taken back.",
    "removed": "The pair and its log are deleted.",
    "example": "The example rack is on your rack now. Forecasts follow in a moment.",
    "no-example": "The example rack is removed; your own pairs are as they were.",
}
router = APIRouter(route_class=PageRoute)


@router.get("/")
def read_rack(
    ctx: Context,
    request: Request,
    wearer: Words = "",
    band: Words = "",
    q: Words = "",
    logged: Words = "",
    on: Words = "",
    done: Words = "",
) -> Response:
    """Show what to wear today, and all pairs, the one to send first at the top."""
    context = _rack_context(ctx, wearer, band, q, (logged, on))
    chosen = {"wearer": wearer, "band": band, "q": q}
    kept = urlencode({name: value for name, value in chosen.items() if value})
    query = f"?{kept}" if kept else ""
    return page_answer(
        request, "rack/rack.html", context | {"query": query, "done": DONE.get(done, "")}
    )


def _rack_context(
    ctx: AppContext, wearer_id: str, band: str, search: str, logged: tuple[str, str]
) -> dict[str, Any]:
    def shown(rows: pd.DataFrame, pairs: pd.DataFrame) -> pd.DataFrame:
        return first_shown(rows, pairs, wearer_id, band, search)

    seen = rack_seen(ctx, wearer_id, shown, logged)
    recent, today = seen.recent, seen.today
    page = rack_page(
        pd.concat([seen.every, seen.feet[seen.feet["foot"] != "pair"]], ignore_index=True),
        seen.pairs,
        seen.wearers,
        today=today,
        wearer_id=wearer_id,
        band=band,
        search=search,
        worn_today=set(recent.loc[recent["worn_on"] == today, "pair_id"]),
        horizon_days=ctx.settings.horizon_days,
    )
    mine = seen.pairs[seen.pairs["wearer_id"] == seen.one]
    panel = today_panel(
        seen.every[seen.every["pair_id"].isin(mine["pair_id"])],
        mine,
        recent[recent["pair_id"].isin(mine["pair_id"])],
        today=today,
        plan=seen.plan,
        reasons=seen.reasons,
    )
    just = seen.logged
    return page | {
        "one": seen.one,
        "today": panel if seen.one else None,
        "logged": None if just is None else just | {"label": label_of(seen.pairs)[logged[0]]},
        "today_iso": f"{today:%Y-%m-%d}",
    }


PAGE = PageEntry(router, NavEntry("Rack", "/", first=True), templates=("rack/rack.html",))
