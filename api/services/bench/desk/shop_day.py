"""Shop day service: what must the desk and the bench know today?

Every list is of what other pages show: open orders, the bench's plan and hours, answers, forecasts.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from sqlalchemy.orm import Session

from solespan.api.services.bench.asking import asked_until
from solespan.api.services.bench.bench_plan import promises_in
from solespan.api.services.bench.bench_settings import bench_minutes, read_bench_settings
from solespan.api.services.bench.booking.free_days import (
    days_of_drying,
    order_minutes,
    shop_today,
)
from solespan.api.services.context import AppContext
from solespan.api.storage.bench import desk
from solespan.api.storage.bench.orders import count_open, open_orders
from solespan.forecast.bench.day_load import DayLoad, day_loads

__all__ = ["MOST_ORDERS", "ShopDay", "mark_seen", "shop_day"]

MOST_ORDERS = 500  # as many as the bench's page shows
MOST_ANSWERS = 50
ANSWER_DAYS = 60  # an older answer is in the list of notices
ASKED_PAGE = 50
LOAD_DAYS = 12
ASKED_AHEAD = timedelta(days=7)
MOST_DATES = 500  # the soonest dates are judged
_TO_DO = ("booked", "in_post", "received", "on_bench")


@dataclass(frozen=True)
class ShopDay:
    """What the page of the shop's day draws from.

    orders : open orders, soonest first, as `storage.bench.orders.open_orders`; total : all there
    are. planned : by order, the day by which the bench is done with nine such in ten. loads : hours
    by day. unplaced_minutes : of open work without a promised day. to_ask : one page of the pairs
    that the year's plan asks for within a week, and asked_total all of them;
    without asked_whole only the soonest dates are looked at.
    """

    today: date
    orders: list[dict[str, Any]]
    total: int
    planned: Mapping[str, date]
    loads: list[DayLoad]
    unplaced_minutes: float
    answers: list[dict[str, Any]]
    to_ask: list[dict[str, Any]]
    asked_total: int
    asked_whole: bool
    has_customers: bool


def shop_day(ctx: AppContext, asked_page: int = 1) -> ShopDay:
    """Read the shop's day; `asked_page` is the page of pairs to ask for, from 1."""
    with ctx.database.reading() as session:
        today = shop_today(session, ctx.clock)
        orders = open_orders(session, MOST_ORDERS)
        settings = read_bench_settings(session)[0]
        skip = (max(1, asked_page) - 1) * ASKED_PAGE
        asked, whole = asked_until(session, today, today + ASKED_AHEAD, MOST_DATES)
        since = ctx.clock.now() - timedelta(days=ANSWER_DAYS)
        minutes, drying = bench_minutes(session), days_of_drying(settings)
        promised = [
            (order["promised_on"], order_minutes(order, minutes, drying)[0])
            for order in orders
            if order["stage"] in _TO_DO
        ]
        return ShopDay(
            today=today,
            orders=orders,
            total=len(orders) if len(orders) < MOST_ORDERS else count_open(session),
            planned=promises_in(session).orders,
            loads=day_loads(
                settings.bench_hours(),
                [(on, minutes) for on, minutes in promised if on is not None],
                today,
                LOAD_DAYS,
            ),
            unplaced_minutes=sum(minutes for on, minutes in promised if on is None),
            answers=desk.unseen_answers(session, since, MOST_ANSWERS),
            to_ask=asked[skip : skip + ASKED_PAGE],
            asked_total=len(asked),
            asked_whole=whole,
            has_customers=bool(orders) or desk.any_customer(session),
        )


def mark_seen(ctx: AppContext, session: Session, notice_id: str) -> int:
    """Take the answers to a notice off the list of the day; return how many it were."""
    return desk.note_seen(session, notice_id, ctx.clock.now())
