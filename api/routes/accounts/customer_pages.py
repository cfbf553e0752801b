"""Page routes of customer.

Which page shows what is kept of a customer, hands it out and erases it?
"""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Path, Request, Response

from solespan.api.errors import Refused
from solespan.api.routes.http.page_entry import Need, PageEntry
from solespan.api.routes.http.pages import PageRoute, Typed, page_answer, refuse_foreign_form
from solespan.api.routes.http.requests import Context, json_answer
from solespan.api.schemas.fields import KnownId
from solespan.api.services.accounts.customer_record import (
    customer_record,
    erase_customer,
    hand_out,
    refuse_unconfirmed,
)
from solespan.api.services.context import AppContext
from solespan.dashboards.pages.accounts.customer import customer_page

__all__ = ["PAGE"]

router = APIRouter(prefix="/customers", route_class=PageRoute)
CustomerId = Annotated[KnownId, Path()]


@router.get("/{wearer_id}")
def read_customer(ctx: Context, request: Request, wearer_id: CustomerId) -> Response:
    """Show how much is kept of a customer, and what can be done with it."""
    return _page(ctx, request, wearer_id)


@router.get("/{wearer_id}/record.json")
def download_record(ctx: Context, wearer_id: CustomerId) -> Response:
    """Hand out everything that is kept of a customer as a file."""
    headers = {
        "content-disposition": 'attachment; filename="customer-record.json"',
        "cache-control": "no-store",
    }
    return json_answer(hand_out(ctx, wearer_id), headers=headers)


@router.post("/{wearer_id}/erase")
def erase(ctx: Context, request: Request, wearer_id: CustomerId, typed: Typed) -> Response:
    """Erase the customer if their id was typed, and say what went."""
    try:
        refuse_foreign_form(request, typed)
        refuse_unconfirmed(wearer_id, typed.get("confirm", ""))
    except Refused as error:
        return _page(ctx, request, wearer_id, problem=error.what, status=error.status)
    erased: dict[str, Any] = erase_customer(ctx, wearer_id)
    return page_answer(request, "accounts/customer_gone.html", erased)


def _page(
    ctx: AppContext, request: Request, wearer_id: str, *, problem: str = "", status: int = 200
) -> Response:
    record = customer_record(ctx, wearer_id, photographs=False)
    context = customer_page(record) | {"problem": problem}
    return page_answer(request, "accounts/customer.html", context, status)


PAGE = PageEntry(router, needs=(Need("/customers/.*", "manage", "manage"),))
