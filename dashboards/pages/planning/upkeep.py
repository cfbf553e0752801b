"""Upkeep page.

What does one pair need between soles, which ways lead to the next one, and what does it cost?

Takes what the service answers (plain dicts with ISO dates) and gives words and rows.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from solespan.dashboards import wording
from solespan.dashboards.pages.planning.care import care_by_pair

__all__ = ["upkeep_page"]


def upkeep_page(
    care: Sequence[Mapping[str, Any]],
    ways: Mapping[str, Any] | None,
    life: Sequence[Mapping[str, Any]] | None,
    pair_id: str,
    *,
    missing: Sequence[str] = (),
) -> dict[str, Any]:
    """Gather care, ways and cost of one pair.

    Parameters
    ----------
    care, life : sequences of mappings
        Of the wearer's whole rack; other pairs are left aside.
    ways : mapping or None
        The comparison of routes of this pair.
    missing : sequence of str
        Why ways or cost cannot be told.
    """
    mine = next((one for one in life or () if one["pair_id"] == pair_id), None)
    return {
        "care": care_by_pair(one for one in care if one["pair_id"] == pair_id),
        "sentence": ways["sentence"] if ways else "",
        "needs": _needs(ways["needs"]) if ways else "",
        "ways": [_way(one) for one in ways["items"]] if ways else [],
        "cost": None if mine is None else _cost(mine),
        "missing": list(missing),
    }


def _needs(reasons: Sequence[str]) -> str:
    return f"What it needs: {wording.joined(list(reasons))}." if reasons else ""


def _way(one: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "name": wording.spaced(one["name"]),
        "can_do": one["can_do"],
        "book_by": _day(one["book_by"]),
        "send_on": _day(one["hand_over_on"]),
        "back": _day(one["back_on_p50"]),
        "back_late": _day(one["back_on_p90"]),
        "price": wording.money(one["price_minor"], one["currency"]),
        "why": str(one["sentence"]),
        "source": "yours" if one["edited"] else "common practice, no source",
    }


def _cost(one: Mapping[str, Any]) -> dict[str, str]:
    per_wear = one["cost_per_wear_minor"]
    return {
        "wears": str(one["wears"] or "no logged"),
        "per_wear": wording.money(per_wear, one["currency"]),
        "left": str(one["resoles_left"]),
        "sentence": str(one["sentence"]),
        "arithmetic": str(one["arithmetic"]),
    }


def _day(text: Any) -> str:
    return wording.long_date(pd.Timestamp(text)) if text else ""
