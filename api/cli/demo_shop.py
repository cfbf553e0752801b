"""Demo shop: which hours, stock, orders, plan and consents does the example shop begin with?

All of it is invented and the same each time. Days are counted from the last day of the examples.
Steps go through the services that pages use, as a person would take them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from sqlalchemy.orm import Session

from solespan.api.clock import Clock
from solespan.api.schemas.bench.orders import Move, NewOrder, Record
from solespan.api.schemas.bench.shop import BenchSettings
from solespan.api.schemas.bench.stock import Item, StockLine
from solespan.api.schemas.notices.consents import ConsentGiven
from solespan.api.schemas.notices.notices import NoticeRules
from solespan.api.services.bench import orders, stock
from solespan.api.services.bench.bench_plan import make_plan
from solespan.api.services.bench.bench_settings import change_bench_settings
from solespan.api.services.bench.booking.free_days import (
    DayNotFree,
    FreeDaysAsked,
    booking_calendar,
)
from solespan.api.services.bench.papers import file_paper
from solespan.api.services.notices import consents
from solespan.api.services.notices.choices import change_rules
from solespan.api.services.rack.records import read
from solespan.api.storage.session import Database
from solespan.forecast.workload.mix import SOLE_WORKS

__all__ = ["set_up_shop"]

WORKER = "Mara"
# two afternoons a week: the example's work fills about two thirds of them
HOURS = (0.0, 1.5, 0.0, 0.0, 1.75, 0.0, 0.0)
CLOSED = (((12, 24), (1, 2)), ((8, 2), (8, 15)))  # month and day of the next one
MOST_AHEAD_DAYS = 60
COST_MINOR = {"sole": 2800, "half_sole": 1400, "welt": 350}
STOCK = (
    ("oak-bark-soles", Item(use="sole", material="oak_bark_leather", supply_days=240,
                            supply_days_sd=30, minimum_order=12), 26.0),
    ("half-soles", Item(use="half_sole", supply_days=21, minimum_order=6), 5.0),
    ("top-pieces", Item(use="top_piece", supply_days=10, minimum_order=10), 7.0),
    ("cement", Item(use="cement", supply_days=7, minimum_order=1000), 1400.0),
)  # fmt: skip
_FOOT = {"thickness_mm": {"ball": 2.2, "waist": 4.6}, "width_mm": {"ball": 96.0}}
WORN = Record.model_validate({"left": _FOOT, "right": _FOOT})


@dataclass(frozen=True)
class _Example:
    """One order: days before the last day it was booked, days to come, and its steps."""

    work: str
    booked_ago: int
    expected_in: int | None = None
    promised_in: int | None = None
    steps: Sequence[dict[str, Any]] = field(default=())


_IN = {"to": "received"}
_ON = {"to": "on_bench", "worker": WORKER}
_DONE = {"to": "checked", "bench_minutes": 22}
ORDERS = (
    _Example("top_piece", 9, promised_in=10, steps=(_IN, _ON, _DONE)),
    _Example("full_sole", 8, promised_in=14, steps=(_IN, _ON)),
    _Example("half_sole", 6, promised_in=17, steps=(_IN,)),
    _Example("heel_block", 4, promised_in=21, steps=(_IN,)),
    _Example("full_sole", 3, expected_in=9, steps=({"to": "in_post", "parcel_number": "EX-1042"},)),
    _Example("full_sole", 2, expected_in=13),
    _Example("half_sole", 1, expected_in=20),
)  # fmt: skip


def set_up_shop(
    database: Database, today: date, pair_ids: Sequence[str], wearer_ids: Sequence[str]
) -> bool:
    """Give the shop of some pairs a bench in use; return whether it was new.

    Orders are booked for every other pair, so that notices wait for the rest. A second call changes
    nothing.

    Parameters
    ----------
    pair_ids : sequence of str
        Pairs of the shop, the soonest due first.
    wearer_ids : sequence of str
        Customers; every third agreed to letters.
    """
    with database.writing() as session:
        if orders.open_orders(session, limit=1):
            return False
        _choose(session, today)
        for item_id, item, there in STOCK:
            stock.put_item(session, item_id, item)
            stock.move_stock(session, item_id, StockLine(reason="count", quantity=there))
        for number, (example, pair_id) in enumerate(zip(ORDERS, pair_ids[::2], strict=False), 1):
            _order(session, today, f"example-{number}", pair_id, example)
        for wearer_id in wearer_ids[::3]:
            given = ConsentGiven(
                wearer_id=wearer_id, channel="print", how="at the counter", by=WORKER, on=today
            )
            consents.give(session, given, _clock(today))
    make_plan(database, today)
    return True


def _choose(session: Session, today: date) -> None:
    closures = []
    for first, last in CLOSED:
        first_on = _next(today, *first)
        closures.append({"first_on": first_on, "last_on": _next(first_on, *last)})
    settings = BenchSettings.model_validate(
        {"hours_by_weekday": HOURS, "closures": closures, "leather_cost_minor": COST_MINOR}
    )
    change_bench_settings(session, settings, None)
    rules = NoticeRules(
        shop_name="Example workshop", shop_contact="1 Example Lane", channels=["print"]
    )
    change_rules(session, rules, None)


def _next(after: date, month: int, day: int) -> date:
    this = date(after.year, month, day)
    return this if this > after else date(after.year + 1, month, day)


def _order(session: Session, today: date, order_id: str, pair_id: str, example: _Example) -> None:
    booked = _clock(today - timedelta(days=example.booked_ago))
    calendar = booking_calendar(session, booked.today())
    pair = read(session, "pairs", {"pair_id": pair_id})
    asked = FreeDaysAsked((example.work,), pair["construction"])
    expected = _in_days(today, example.expected_in)
    promised = _in_days(today, example.promised_in)
    given = NewOrder(
        order_id=order_id,
        pair_id=pair_id,
        work=example.work,
        expected_on=expected and _free_from(expected, lambda day: calendar.check(asked, day, None)),
        promised_on=promised and _free_from(promised, lambda day: calendar.check(asked, None, day)),
    )
    order = orders.book(session, given, booked)
    clock = _clock(today)
    for step in example.steps:
        if step["to"] == "on_bench" and example.work in SOLE_WORKS:
            order = file_paper(session, order_id, "before", WORN, clock)
        move = Move.model_validate({"version": order["version"], "on": booked.today(), **step})
        order = orders.step(session, order_id, move, clock)


def _free_from(wish: date, check: Callable[[date], None]) -> date:
    """Return the first day from a wish on that the bench can keep."""
    for ahead in range(MOST_AHEAD_DAYS):
        day = wish + timedelta(days=ahead)
        with suppress(DayNotFree):
            check(day)
            return day
    return wish


def _in_days(today: date, days: int | None) -> date | None:
    return None if days is None else today + timedelta(days=days)


def _clock(day: date) -> Clock:
    return Clock(lambda: datetime.combine(day, time(9), UTC))
