"""Page routes of customer search: which page finds a customer, and pairs that are here?

What is searched for is sent and never stands in an address, as it names people.
"""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from solespan.api.routes.http.page_entry import Need, PageEntry
from solespan.api.routes.http.pages import (
    PageRoute,
    Typed,
    Words,
    number_of,
    page_answer,
    refuse_foreign_form,
)
from solespan.api.routes.http.requests import Context
from solespan.api.services.bench.desk.customer_search import search_customers
from solespan.api.services.context import AppContext
from solespan.dashboards.navigation import NavEntry
from solespan.dashboards.pages.bench.desk import customer_rows

__all__ = ["PAGE"]

router = APIRouter(route_class=PageRoute)
FIND = "/find-customer"


@router.get("/customers")
def read_customers(ctx: Context, request: Request, page: Words = "") -> Response:
    """List customers by name, page by page."""
    return _page(ctx, request, "", number_of(page))


@router.post(FIND)
def find_customer(ctx: Context, request: Request, typed: Typed) -> Response:
    """Show customers by name, telephone, e-mail, ticket or pair."""
    refuse_foreign_form(request, typed)
    return _page(ctx, request, typed.get("q", ""), number_of(typed.get("page", "")))


def _page(ctx: AppContext, request: Request, typed: str, page: int) -> Response:
    found = search_customers(ctx, typed, page)
    context = {
        "customers": customer_rows(found.customers, found.today),
        "search": typed,
        "page": found.page,
        "more": found.more,
    }
    return page_answer(request, "bench/customers.html", context)


PAGE = PageEntry(
    router,
    NavEntry("Customers", "/customers", "shop", first=True),
    templates=("bench/customers.html",),
    needs=(Need("/customers|/find-customer", "read", "read"),),
)
