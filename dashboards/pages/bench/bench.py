"""Bench page.

What does the bench's page say: what comes today, what is late, and every order by its stage?
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from solespan.dashboards import wording
from solespan.forecast.bench.visits import works_of
from solespan.forecast.dates.day_words import short_day
from solespan.forecast.frames import WORKS

__all__ = [
    "OPEN_STAGES",
    "STAGE_WORDS",
    "bench_page",
    "late_words",
    "order_works",
    "work_words",
]

STAGE_WORDS = {
    "booked": "booked",
    "in_post": "in the post",
    "received": "received",
    "on_bench": "on the bench",
    "sent_on": "at the maker",
    "checked": "checked",
    "posted_back": "posted back",
    "returned": "returned",
    "cancelled": "cancelled",
    "missed": "not brought",
    "refused": "refused",
}
OPEN_STAGES = tuple(STAGE_WORDS)[:7]
_MEANS = {
    "booked": "not here yet",
    "in_post": "on its way here",
    "received": "waits for the bench",
    "on_bench": "being worked on",
    "sent_on": "no bench hours until it is back",
    "checked": "waits to go back",
    "posted_back": "on its way back",
}
_COMING = ("booked", "in_post")
_HERE = ("received", "on_bench", "sent_on", "checked")
_ON_THE_WAY = ("received", "on_bench")


def work_words(work: str) -> str:
    """Say a kind of work in words."""
    return work.replace("_", " ")


def order_works(order: Mapping[str, Any]) -> str:
    """Say all works of an order, the main one first."""
    return ", ".join(work_words(w) for w in works_of(order["work"], order["more_works"]))


def bench_page(
    orders: Sequence[Mapping[str, Any]],
    *,
    total: int,
    today: date,
    planned: Mapping[str, date] | None = None,
    back_on: date | None = None,
) -> dict[str, Any]:
    """Gather the bench's page.

    Parameters
    ----------
    orders : sequence of mappings
        Open orders with `pair_label`, `owner` and `received_on`, soonest promised first.
    total : int
        Open orders in all; more than are given are said to be left out.
    planned : mapping, optional
        By order, the day by which the bench is done with nine such in ten.
    back_on : date, optional
        The day by which nine in ten of the pairs that come today are back.
    """
    board: list[dict[str, Any]] = []
    for stage in OPEN_STAGES:
        rows = [_row(order, today) for order in orders if order["stage"] == stage]
        board.append(
            {"key": stage, "stage": STAGE_WORDS[stage], "means": _MEANS[stage]} | {"rows": rows}
        )
    coming = [_row(o, today) for o in orders if o["stage"] in _COMING and o["expected_on"] == today]
    late = [
        _row(order, today) | {"when": why}
        for order in orders
        if (why := _late(order, today, planned or {}))
    ]
    count = {group["key"]: len(group["rows"]) for group in board}
    return {
        "total": total,
        "left_out": total - len(orders),
        "lead": _lead(len(coming), count, len(late)),
        "coming": coming,
        "late": late,
        "board": board,
        "work_options": [(work, work_words(work)) for work in WORKS],
        "today_iso": today.isoformat(),
        "promise": "" if back_on is None else _promise(back_on, today),
    }


def _lead(coming: int, count: Mapping[str, int], late: int) -> str:
    told = [
        f"{wording.plural(coming, 'pair')} expected today" if coming else "nothing expected today",
        f"{count['on_bench'] or 'none'} on the bench",
        f"{count['received'] or 'none'} waiting for it",
        f"{late or 'none'} late",
    ]
    text = ", ".join(told)
    return f"{text[0].upper()}{text[1:]}."


def _row(order: Mapping[str, Any], today: date) -> dict[str, Any]:
    return {
        "ticket": order["ticket"],
        "order_id": order["order_id"],
        "pair": order["pair_label"] or order["pair_id"],
        "work": order_works(order),
        "owner": order["owner"] or "",
        "when": _when(order, today),
        "worker": order["worker"] or "",
    }


def _when(order: Mapping[str, Any], today: date) -> str:
    """Say the day that matters at the order's stage."""
    if order["stage"] in _COMING:
        day = order["expected_on"]
        return "no day agreed" if day is None else f"expected {short_day(day, today)}"
    told = []
    if order["stage"] == "received" and order["received_on"] is not None:
        waits = (today - order["received_on"]).days
        told.append(f"here for {wording.plural(waits, 'day')}" if waits else "came today")
    if order["stage"] == "sent_on":
        back = "" if order["back_on"] is None else f", back {short_day(order['back_on'], today)}"
        told.append(f"at {order['sent_to']}{back}")
    if order["promised_on"] is not None:
        told.append(f"promised {short_day(order['promised_on'], today)}")
    return ", ".join(told)


def _promise(back_on: date, today: date) -> str:
    return f"Nine in ten pairs that come today are back by {short_day(back_on, today)}."


def _late(order: Mapping[str, Any], today: date, planned: Mapping[str, date]) -> str:
    return "".join(late_words(order, today, planned))


def late_words(
    order: Mapping[str, Any], today: date, planned: Mapping[str, date]
) -> tuple[str, str]:
    """Say why an order is late, and otherwise why its promise is at risk; empty = it is not."""
    promised, expected = order["promised_on"], order["expected_on"]
    if order["stage"] in (*_COMING, *_HERE) and promised is not None and promised < today:
        days = wording.plural((today - promised).days, "day")
        return f"promised {days} ago, {STAGE_WORDS[order['stage']]}", ""
    back = order["back_on"]
    if order["stage"] == "sent_on" and back is not None and back < today:
        days = wording.plural((today - back).days, "day")
        return f"due back {days} ago from {order['sent_to']}", ""
    done = planned.get(order["order_id"])
    if order["stage"] in _ON_THE_WAY and promised is not None and done and done > promised:
        said = f"promised {short_day(promised, today)}, planned for {short_day(done, today)}"
        return "", said
    if order["stage"] in _COMING and expected is not None and expected < today:
        return f"expected {wording.plural((today - expected).days, 'day')} ago, not here", ""
    return "", ""
