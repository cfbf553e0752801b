"""Desk pages: what do the search of customers, the reception and the ticket say?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

import pandas as pd

from solespan.dashboards import wording
from solespan.dashboards.pages.bench.bench import STAGE_WORDS, order_works, work_words
from solespan.forecast.dates.day_words import short_day
from solespan.forecast.frames import WORKS

__all__ = [
    "assumed_words",
    "customer_rows",
    "price_words",
    "reception_choices",
    "ticket_page",
    "work_options",
]

_SHOWN_PAIRS = 6


def customer_rows(customers: Sequence[Mapping[str, Any]], today: date) -> list[dict[str, Any]]:
    """Return customers as rows: name, telephone, their pairs, and what is here of them."""
    return [
        {
            "wearer_id": one["wearer_id"],
            "name": one["name"] or one["phone"] or one["wearer_id"],
            "phone": one["phone"] or "",
            "email": one["email"] or "",
            "pairs": [_pair(pair, today) for pair in one["pairs"][:_SHOWN_PAIRS]],
            "left_out": max(0, len(one["pairs"]) - _SHOWN_PAIRS),
        }
        for one in customers
    ]


def _pair(pair: Mapping[str, Any], today: date) -> dict[str, Any]:
    order = pair["order"]
    told = {
        "pair_id": pair["pair_id"],
        "name": pair["label"] or pair["pair_id"],
        "order_id": "",
        "ticket": "",
        "when": "",
    }
    if order is None:
        return told
    promised = order["promised_on"]
    when = "" if promised is None else f", promised {short_day(promised, today)}"
    return told | {
        "order_id": order["order_id"],
        "ticket": order["ticket"] or "",
        "when": f"{STAGE_WORDS[order['stage']]}{when}",
    }


def reception_choices(
    customers: Sequence[Mapping[str, Any]], today: date
) -> list[tuple[str, str, str]]:
    """Return whom and which pair one may choose: value, words, and what is known."""
    options: list[tuple[str, str, str]] = []
    for one in customer_rows(customers, today):
        whose = one["phone"] or one["email"]
        options.append((f"wearer {one['wearer_id']}", f"{one['name']}, another pair", whose))
        options += [
            (f"pair {pair['pair_id']}", f"{one['name']}, {pair['name']}", pair["when"])
            for pair in one["pairs"]
            if not pair["when"]
        ]
    return options


def work_options() -> list[tuple[str, str]]:
    """Return the kinds of work to choose from, the first as the words say."""
    return [("", "as the words say"), *((work, work_words(work)) for work in WORKS)]


def assumed_words(
    order: Mapping[str, Any], pair: Mapping[str, Any], sole: Mapping[str, Any] | None
) -> str:
    """Say what is assumed of a pair that was taken in; empty once somebody has corrected it."""
    told = [one["details"]["assumed"] for one in order["events"] if "assumed" in one["details"]]
    if not told or sole is None or not sole["assumed"]:
        return ""
    if pair["construction"] != told[-1]["construction"]:
        return ""
    words = (
        wording.spaced(pair["construction"]),
        wording.spaced(sole["material"]),
        f"{sole['nominal_thickness_mm']:g} mm when new",
        "a year old",
    )
    return ", ".join(words)


def ticket_page(
    order: Mapping[str, Any],
    pair: Mapping[str, Any],
    owner: Mapping[str, Any],
    shop: Mapping[str, str],
) -> dict[str, Any]:
    """Gather the ticket: one part for the shoes, one to tear off for the customer."""
    promised = order["promised_on"]
    booked = wording.long_date(pd.Timestamp(order["booked_on"]))
    return {
        "order": order,
        "ticket": order["ticket"] or order["order_id"],
        "pair": pair["label"] or pair["pair_id"],
        "work": order_works(order),
        "owner": owner["name"] or owner["phone"] or owner["wearer_id"],
        "phone": owner["phone"] or "",
        "promised": "" if promised is None else wording.long_date(pd.Timestamp(promised)),
        "price": price_words(order),
        "booked": booked,
        "shop": shop,
    }


def price_words(order: Mapping[str, Any]) -> str:
    """Say an order's price, or that it is still to be quoted."""
    if order["price_minor"] is None:
        return "to be quoted"
    return wording.money(order["price_minor"], order["currency"])
