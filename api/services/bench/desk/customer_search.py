"""Customer search service: whose telephone, ticket, name or pair is it that somebody asks for?"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date
from typing import Any

from solespan.api.services.bench.booking.free_days import shop_today
from solespan.api.services.context import AppContext
from solespan.api.storage.bench import customer_search as stored

__all__ = ["CUSTOMERS_A_PAGE", "FoundCustomers", "describe_found", "search_customers"]

CUSTOMERS_A_PAGE = 20
MOST_PAIRS = 200  # of the customers of one page
MOST_WORDS = 6
_CUSTOMER = ("wearer_id", "name", "phone", "email")
_PAIR = ("pair_id", "label")
_ORDER = ("order_id", "ticket", "stage", "promised_on")
_TICKET = re.compile(r"#?\s*([0-9]{1,7})")
_PHONE = re.compile(r"[+(]?[0-9][0-9 ()./-]{4,}")


@dataclass(frozen=True)
class FoundCustomers:
    """One page of customers on the shop's day.

    Each has `pairs`, and each pair its open `order` or None.
    """

    today: date
    customers: list[dict[str, Any]]
    page: int
    more: bool


def search_customers(ctx: AppContext, typed: str, page: int = 1) -> FoundCustomers:
    """Find customers by what was typed: a ticket, a telephone number, or words."""
    typed = " ".join(typed.split())[:200]
    ticket = _TICKET.fullmatch(typed)
    digits = re.sub(r"[^0-9]", "", typed) if _PHONE.fullmatch(typed) else ""
    page = max(1, page)
    with ctx.database.reading() as session:
        today = shop_today(session, ctx.clock)
        rows = stored.find_customers(
            session,
            typed.split()[:MOST_WORDS],
            digits,
            stored.with_ticket(session, int(ticket[1])) if ticket else (),
            skip=(page - 1) * CUSTOMERS_A_PAGE,
            most=CUSTOMERS_A_PAGE + 1,
        )
        shown = rows[:CUSTOMERS_A_PAGE]
        pairs = stored.pairs_of(session, [row["id"] for row in shown], MOST_PAIRS)
        orders = stored.orders_of(session, [pair["id"] for pair in pairs])
    order_of = {order["pair_pk"]: order for order in orders}
    told = [pair | {"order": order_of.get(pair["id"])} for pair in pairs]
    customers = [
        row | {"pairs": [pair for pair in told if pair["wearer_pk"] == row["id"]]} for row in shown
    ]
    return FoundCustomers(today, customers, page, len(rows) > len(shown))


def describe_found(found: FoundCustomers) -> dict[str, Any]:
    """Return a page of customers as programs read it."""
    return {
        "items": [_told(one, _CUSTOMER) | {"pairs": _pairs(one)} for one in found.customers],
        "page": found.page,
        "more": found.more,
    }


def _pairs(customer: dict[str, Any]) -> list[dict[str, Any]]:
    return [
        _told(pair, _PAIR) | {"order": pair["order"] and _told(pair["order"], _ORDER)}
        for pair in customer["pairs"]
    ]


def _told(row: dict[str, Any], names: tuple[str, ...]) -> dict[str, Any]:
    return {name: row[name] for name in names}
