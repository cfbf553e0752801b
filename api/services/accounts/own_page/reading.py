"""Own page reading: what does a customer see of their own pairs, and of nobody else's?

Each kind of row is read once for all pairs. What only the shop's people read stays out: notes,
workers, minutes, papers.
"""

from __future__ import annotations

from collections.abc import Collection
from datetime import timedelta
from typing import Any

from sqlalchemy.orm import Session

from solespan.api.bench_words import OPEN_STAGES
from solespan.api.errors import BadSetting, NotFound, NothingForecast
from solespan.api.services.accounts.customer_record import plain_value
from solespan.api.services.accounts.identity import Identity
from solespan.api.services.bench.bench_settings import read_bench_settings
from solespan.api.services.bench.booking.free_days import (
    DaysOffered,
    FreeDaysAsked,
    booking_calendar,
    shop_today,
)
from solespan.api.services.bench.quotes import AGREED_IN, quote_pair
from solespan.api.services.context import AppContext
from solespan.api.services.notices.booking_links import change_path
from solespan.api.services.notices.choices import read_rules
from solespan.api.storage.accounts.customers import held_of
from solespan.api.storage.bench import customer_orders as stored
from solespan.api.storage.bench.booking_messages import WAITING
from solespan.api.storage.forecasts.forecasts import load_forecasts
from solespan.api.storage.notices.consents import held_consents
from solespan.api.storage.notices.looks import last_looks
from solespan.api.storage.notices.looks import photographs_of as pictures_of
from solespan.api.storage.rack.frames import load_rows
from solespan.api.storage.rack.records import list_records, wearer_id_of

__all__ = ["own_data", "own_id", "own_pairs", "own_photograph"]

MOST_PAIRS = 200
MOST_ORDERS = 400
WORK = "full_sole"
_SHOPS_OWN = {
    "notes",
    "note",
    "worker",
    "bench_minutes",
    "given_by",
    "version",
    "advised",
    "data_version",
}
_OWN_TABLES = (
    *("wearers", "pairs", "soles", "wear_days", "checks", "bench_jobs", "layers"),
    *("bench_orders", "consents", "care_done", "rack_plans"),
)


def own_id(session: Session, who: Identity) -> str:
    """Return the id of the customer who looks. Raises `NotFound` for anybody else."""
    wearer_id = None if who.wearer_pk is None else wearer_id_of(session, who.wearer_pk)
    if wearer_id is None:
        raise NotFound("There is no such page.", remedy="Ask the shop for a new link.")
    return wearer_id


def own_pairs(ctx: AppContext, session: Session, who: Identity) -> dict[str, Any]:
    """Return all that a customer's page shows.

    `wearer`, `pairs`, `soles` and `orders` are rows, `forecast` is a frame. An order has `steps`,
    `photographs`, and `quote` where one can be agreed to. `looks` and `pictures` are by pair,
    `consents` by channel, `offered` are free days by construction. `rules` are the shop's.
    """
    wearer_id = own_id(session, who)
    (wearer,) = list_records(session, "wearers", equal={"wearer_id": wearer_id}, limit=1)
    frame = load_rows(session, "pairs", by="wearer_id", ids=[wearer_id], with_pk=True)
    known = dict(zip(frame["pk"].astype(int), frame["pair_id"], strict=True))
    looks, pictures = last_looks(session, list(known)), pictures_of(session, list(known))
    pairs = list_records(session, "pairs", equal={"wearer_id": wearer_id}, limit=MOST_PAIRS)
    orders = _orders(ctx, session, who)
    away = {order["pair_id"] for order in orders if order["stage"] in OPEN_STAGES}
    free = {pair["construction"] for pair in pairs if pair["pair_id"] not in away}
    return {
        "wearer": wearer,
        "pairs": pairs,
        "soles": load_rows(session, "soles", by="wearer_id", ids=[wearer_id]).to_dict("records"),
        "forecast": load_forecasts(session, [wearer_id]),
        "orders": orders,
        "offered": _offered(ctx, session, wearer["time_zone"], free),
        "looks": {known[pk]: look for pk, look in looks.items()},
        "pictures": {known[pk]: photo for pk, photo in pictures.items()},
        "consents": held_consents(session, [wearer_id]).get(wearer_id, {}),
        "rules": read_rules(session)[0],
    }


def _offered(
    ctx: AppContext, session: Session, time_zone: str, constructions: Collection[str]
) -> dict[str, DaysOffered]:
    """Return the free days from tomorrow on, by construction; the calendar is read once."""
    if not constructions:
        return {}
    today = shop_today(session, ctx.clock, time_zone)
    calendar = booking_calendar(session, today)
    first = today + timedelta(days=1)
    return {
        name: calendar.offer(FreeDaysAsked((WORK,), name), first) for name in sorted(constructions)
    }


def _orders(ctx: AppContext, session: Session, who: Identity) -> list[dict[str, Any]]:
    orders = stored.orders_of_wearer(session, who.wearer_pk or 0, MOST_ORDERS)
    numbers = [order["id"] for order in orders]
    steps = stored.steps_of(session, numbers)
    photographs = stored.photographs_of(session, numbers)
    priced = read_bench_settings(session)[1] > 0  # the shop has set prices of its own
    for order in orders:
        order["steps"] = steps.get(order["id"], [])
        order["photographs"] = [p for p in photographs if p["order_pk"] == order["id"]]
        agreed = any(works for _, _, works in order["steps"])
        asks = priced and order["stage"] in AGREED_IN and not agreed
        order["quote"] = _quote(session, order["pair_id"]) if asks else None
        order["change"] = _change(ctx, session, order) if order["stage"] in WAITING else ""
    return orders


def _change(ctx: AppContext, session: Session, order: dict[str, Any]) -> str:
    """Return the path of the page that moves or cancels an order; empty = there is none."""
    try:
        return change_path(ctx, session, order | {"received": False})
    except BadSetting:  # without a secret no link can be signed
        return ""


def _quote(session: Session, pair_id: str) -> dict[str, Any] | None:
    try:
        return quote_pair(session, pair_id, None, timed=False)
    except NothingForecast:
        return None


def own_photograph(session: Session, who: Identity, photo_id: str) -> tuple[str, bytes]:
    """Return media type and bytes of a photograph of an own pair. Raises `NotFound`."""
    found = stored.own_photograph(session, who.wearer_pk or 0, photo_id)
    if found is None:
        raise NotFound("There is no such photograph.", where="the address")
    return found


def own_data(session: Session, who: Identity) -> dict[str, list[dict[str, Any]]]:
    """Return a customer's own rows by table, without what the shop's people wrote for themselves.

    The shop hands out the rest on request.
    """
    own_id(session, who)
    held = held_of(session, who.wearer_pk or 0)
    return {
        table: [
            {k: plain_value(value) for k, value in row.items() if k not in _SHOPS_OWN}
            for row in held[table]
        ]
        for table in _OWN_TABLES
        if held.get(table)
    }
