"""Shop day service: what must the desk and the bench know today, and by when is a new pair done?

Every list is of what other pages show: open orders, the bench's plan and hours, answers, forecasts.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache
from typing import Any

import pandas as pd
from sqlalchemy.orm import Session

from solespan.api.schemas.bench.shop import BenchSettings
from solespan.api.services.bench.bench_plan import promises_in
from solespan.api.services.bench.bench_settings import read_bench_settings
from solespan.api.services.context import AppContext
from solespan.api.services.shop_choices import shop_time_zone
from solespan.api.storage.bench import desk
from solespan.api.storage.bench.orders import count_open, open_orders
from solespan.forecast.bench.day_load import DayLoad, day_loads, first_free_day
from solespan.forecast.bench.standards import standard_minutes
from solespan.forecast.frames import CONSTRUCTIONS

__all__ = ["MOST_ORDERS", "ShopDay", "free_day", "mark_seen", "shop_day", "shop_today"]

MOST_ORDERS = 500  # as many as the bench's page shows
MOST_ANSWERS = 50
ANSWER_DAYS = 60  # an older answer is in the list of notices
ASKED_PAGE = 50
LOAD_DAYS = 12
ASKED_BANDS = ("stop wearing", "book in")
_TO_DO = ("booked", "in_post", "received", "on_bench")


@dataclass(frozen=True)
class ShopDay:
    """What the page of the shop's day draws from.

    orders : open orders, soonest first, as `storage.bench.orders.open_orders`; total : all there
    are. planned : by order, the day by which the bench is done with nine such in ten. loads : hours
    by day. unplaced_minutes : of open work without a promised day. to_ask : one page of pairs that
    could be asked for, and asked_total all of them.
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
    has_customers: bool


def shop_today(ctx: AppContext, session: Session) -> date:
    """Return the day it is in the shop."""
    return ctx.clock.today(shop_time_zone(session))


def shop_day(ctx: AppContext, asked_page: int = 1) -> ShopDay:
    """Read the shop's day; `asked_page` is the page of pairs to ask for, from 1."""
    with ctx.database.reading() as session:
        today = shop_today(ctx, session)
        orders = open_orders(session, MOST_ORDERS)
        settings = read_bench_settings(session)[0]
        skip = (max(1, asked_page) - 1) * ASKED_PAGE
        since = ctx.clock.now() - timedelta(days=ANSWER_DAYS)
        promised = [
            (order["promised_on"], _minutes(order)) for order in orders if order["stage"] in _TO_DO
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
            to_ask=desk.pairs_to_ask(session, ASKED_BANDS, skip=skip, most=ASKED_PAGE),
            asked_total=desk.count_to_ask(session, ASKED_BANDS),
            has_customers=bool(orders) or desk.any_customer(session),
        )


def mark_seen(ctx: AppContext, session: Session, notice_id: str) -> int:
    """Take the answers to a notice off the list of the day; return how many it were."""
    return desk.note_seen(session, notice_id, ctx.clock.now())


def free_day(session: Session, work: str, today: date) -> date | None:
    """Return the day to promise a pair that comes today, or None where none is open in a year.

    The bench's plan tells the day by which nine pairs in ten are back. Without a plan, the bench's
    hours from tomorrow on work off all open orders first. A closed day moves on to an open one.
    """
    settings = read_bench_settings(session)[0]
    back = promises_in(session).back_on(today)
    if back is None:
        orders = open_orders(session, MOST_ORDERS)
        waiting = sum(_minutes(order) for order in orders if order["stage"] in _TO_DO)
        minutes = _standard(work, CONSTRUCTIONS[0])
        tomorrow = today + timedelta(days=1)
        return first_free_day(settings.bench_hours(), waiting, minutes, tomorrow)
    return _next_open(settings, back)


def _next_open(settings: BenchSettings, day: date) -> date | None:
    minutes = settings.bench_hours().minutes_by_day(pd.Timestamp(day), 370)
    opens = (day + timedelta(days=k) for k, open_minutes in enumerate(minutes) if open_minutes > 0)
    return next(opens, None)


def _minutes(order: Mapping[str, Any]) -> float:
    return _standard(order["work"], order["construction"])


@cache
def _standard(work: str, construction: str) -> float:
    return float(standard_minutes(work, construction, None))
