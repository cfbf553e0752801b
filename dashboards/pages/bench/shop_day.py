"""Shop day page: what does the shop's day say: who comes, what is late, what is ready, how full?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import Any

import pandas as pd

from solespan.dashboards import wording
from solespan.dashboards.pages.bench.bench import STAGE_WORDS, late_words, order_works
from solespan.dashboards.pages.rack.verdict import verdict
from solespan.forecast.dates.day_words import short_day

__all__ = ["LISTS", "ROWS_A_LIST", "ROWS_A_PAGE", "shop_day_page"]

ROWS_A_LIST = 6
ROWS_A_PAGE = 50
WEEK = timedelta(days=7)
LISTS = {
    "late": "Late",
    "risk": "Promises at risk",
    "coming": "Coming this week",
    "ready": "Ready to fetch",
    "quotes": "Prices to tell",
    "answers": "Answers",
    "ask": "To ask",
    "queue": "Queue",
}
_NONE = {
    "late": "Nothing is late.",
    "risk": "Every promise fits the plan.",
    "coming": "Nobody is expected.",
    "ready": "No pair waits.",
    "quotes": "Every pair has its price.",
    "answers": "All answers are seen.",
    "ask": "The year's plan asks nobody this week.",
    "queue": "The bench is free.",
}
_ANSWERS = {
    "booked": "booked a day",
    "declined": "said no",
    "elsewhere": "has a new sole from another shop",
    "checked": "pressed the sole",
}
_DESK = ("late", "risk", "coming", "ready", "answers", "quotes", "ask")
_BENCH = ("queue", "late", "risk", "coming", "ready", "quotes", "answers", "ask")
_COMING = ("booked", "in_post")
_HERE = ("received", "on_bench")
_NEXT = {"on_bench": 0, "received": 1}


def shop_day_page(
    orders: Sequence[Mapping[str, Any]],
    *,
    today: date,
    total: int,
    planned: Mapping[str, date],
    loads: Sequence[Any],
    unplaced_minutes: float,
    answers: Sequence[Mapping[str, Any]],
    to_ask: Sequence[Mapping[str, Any]],
    asked_total: int,
    asked_whole: bool = True,
    has_customers: bool,
    first: str = "desk",
    only: str = "",
    page: int = 1,
) -> dict[str, Any]:
    """Gather the page.

    Parameters
    ----------
    orders : sequence of mappings
        Open orders, soonest first, with ticket, pair, owner and telephone.
    loads : sequence of DayLoad
        Hours promised by day beside the open ones.
    to_ask : sequence of mappings
        One page of pairs that the year's plan asks for this week; `asked_total` counts all.
    asked_whole : bool
        Whether every pair with a date this week was looked at, not the soonest only.
    first : str
        `desk` or `bench`: whose lists stand first.
    only : str
        A key of `LISTS` to show alone, `page` by page; empty shows the beginning of each.
    """
    rows = _lists(orders, today, planned)
    rows["answers"] = [_answer(one, today) for one in answers]
    rows["ask"] = [_asked(one, today) for one in to_ask]
    counts = {key: len(found) for key, found in rows.items()} | {"ask": asked_total}
    chosen = only if only in LISTS else ""
    keys = (chosen,) if chosen else _BENCH if first == "bench" else _DESK
    most = ROWS_A_PAGE if chosen else ROWS_A_LIST
    pages = max(1, -(-counts[chosen] // ROWS_A_PAGE)) if chosen else 1
    page = min(max(1, page), pages)
    skip = (page - 1) * ROWS_A_PAGE if chosen and chosen != "ask" else 0
    lists = [
        {
            "key": key,
            "heading": LISTS[key],
            "rows": rows[key][skip : skip + most],
            "count": counts[key],
            "more": not chosen and counts[key] > ROWS_A_LIST,
            "none": _NONE[key],
        }
        for key in keys
    ]
    return {
        "lists": lists,
        "only": chosen,
        "page": page,
        "pages": pages,
        "lead": _lead(counts),
        "day": short_day(today, today + timedelta(days=400)),
        "left_out": total - len(orders),
        "asked_cut": not asked_whole,
        "loads": [_load(one, today) for one in loads if one.open_minutes or one.load_minutes],
        "unplaced": _hours(unplaced_minutes) if unplaced_minutes else "",
        "first": first,
        "empty": not has_customers,
    }


def _lead(counts: Mapping[str, int]) -> list[tuple[str, str]]:
    told = [
        ("late", f"{counts['late']} late"),
        ("risk", f"{counts['risk']} at risk"),
        ("coming", f"{counts['coming']} to come"),
        ("ready", f"{counts['ready']} ready"),
        ("quotes", wording.plural(counts["quotes"], "price") + " to tell"),
        ("answers", wording.plural(counts["answers"], "answer")),
        ("ask", f"{counts['ask']} to ask"),
    ]
    return [(key, words) for key, words in told if counts[key]]


def _lists(
    orders: Sequence[Mapping[str, Any]], today: date, planned: Mapping[str, date]
) -> dict[str, list[dict[str, Any]]]:
    """Sort the open orders into the lists; one may stand in several."""
    rows: dict[str, list[dict[str, Any]]] = {key: [] for key in LISTS}
    queue = []
    for order in orders:
        stage, promised, expected = order["stage"], order["promised_on"], order["expected_on"]
        past, risk = late_words(order, today, planned)
        if past:
            rows["late"].append(_order(order, past))
        elif risk:
            rows["risk"].append(_order(order, risk))
        if stage in _COMING and expected is not None and today <= expected <= today + WEEK:
            rows["coming"].append(_order(order, short_day(expected, today)))
        if stage == "checked":
            told = "" if promised is None else f"promised {short_day(promised, today)}"
            post = "goes by post" if order["by_post"] else ""
            rows["ready"].append(_order(order, post or told))
        if stage in ("received", "in_post") and order["price_minor"] is None:
            rows["quotes"].append(_order(order, "no price yet"))
        if stage in _HERE:
            queue.append(order)
    queue.sort(key=lambda one: _NEXT[one["stage"]])
    rows["queue"] = [_order(order, _when(order, today)) for order in queue]
    return rows


def _when(order: Mapping[str, Any], today: date) -> str:
    stage = STAGE_WORDS[order["stage"]]
    if order["promised_on"] is None:
        return f"{stage}, no day promised"
    return f"{stage}, promised {short_day(order['promised_on'], today)}"


def _order(order: Mapping[str, Any], when: str) -> dict[str, Any]:
    return {
        "ticket": order["ticket"] or "",
        "name": order["pair_label"] or order["pair_id"],
        "order_id": order["order_id"],
        "of": f"{order_works(order)} · {order['owner']}",
        "phone": order["phone"] or "",
        "when": when,
        "notice_id": "",
    }


def _answer(one: Mapping[str, Any], today: date) -> dict[str, Any]:
    return _pair(one) | {
        "of": f"{one['owner']} {_ANSWERS.get(one['answer'], 'answered')}",
        "when": short_day(one["answered_at"].date(), today),
        "notice_id": one["notice_id"],
    }


def _asked(one: Mapping[str, Any], today: date) -> dict[str, Any]:
    row = dict(one) | {name: pd.Timestamp(one[name]) for name in ("send_by", "due_p10", "due_p90")}
    day = "" if one["ask_on"] <= today else f", ask {short_day(one['ask_on'], today)}"
    said = verdict(row, pd.Timestamp(today), 0)
    return _pair(one) | {"of": one["owner"], "when": f"{said}{day}"}


def _pair(one: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "ticket": "",
        "name": one["pair_label"] or one["pair_id"],
        "order_id": "",
        "pair_id": one["pair_id"],
        "phone": one["phone"] or "",
        "notice_id": "",
    }


def _load(one: Any, today: date) -> dict[str, Any]:
    """Say one day: promised hours beside open ones, and a bar of both on one scale of 12 h."""
    most = 12 * 60.0
    over = one.over_minutes > 0 and one.load_minutes > 0
    return {
        "day": short_day(one.on, today),
        "open": round(min(one.open_minutes, most) / most * 100, 1),
        "load": round(min(one.load_minutes, most) / most * 100, 1),
        "over": over,
        "words": _load_words(one, over=over),
    }


def _load_words(one: Any, *, over: bool) -> str:
    said = f"{_hours(one.load_minutes)} of {_hours(one.open_minutes)}"
    return f"{said}, {_hours(one.over_minutes)} too much" if over else said


def _hours(minutes: float) -> str:
    return f"{minutes / 60:.1f}".removesuffix(".0") + " h"
