"""Plan page.

What does the planning page say: its aim, the days ahead, the bench, why?

Takes what the service answers (plain dicts with ISO dates) and gives words and rows.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import pandas as pd

from solespan.dashboards import wording
from solespan.dashboards.pages.rack.pictures import picture_sheet

__all__ = ["NEAR_ENOUGH", "how_good", "plan_page"]

DAYS_PER_WEEK = 7
MOST_TOLD = 0.5  # a bound further off says nothing
NEAR_ENOUGH = 0.005


def plan_page(
    plan: Mapping[str, Any] | None,
    care: Sequence[Mapping[str, Any]],
    pairs: pd.DataFrame,
    *,
    today: pd.Timestamp,
    wearer_id: str,
    wearers: Sequence[tuple[str, str]],
) -> dict[str, Any]:
    """Gather the planning page of one owner.

    Parameters
    ----------
    plan : mapping or None
        The newest plan as the service answers it.
    care : sequence of mappings
        Care that is due.
    pairs : DataFrame
        Columns `frames.PAIRS` and `photo_id`, of the whole rack: no two pictures look alike.
    wearers : sequence of (wearer_id, name)
    """
    sheet = picture_sheet(pairs)
    names = dict(zip(pairs["pair_id"], pairs["label"], strict=True))

    def call(pair_id: str) -> str:
        name = names.get(pair_id)
        return name if isinstance(name, str) and name else pair_id

    return {
        "wearer_id": wearer_id,
        "wearers": wearers,
        "one_wearer": len(wearers) < 2,
        "plan": None if plan is None else _plan(plan, call, today),
        "care": _care(care),
        "symbols": sheet.symbols,
        "pictures": sheet.of_pair,
    }


def _plan(
    plan: Mapping[str, Any], call: Callable[[str], str], today: pd.Timestamp
) -> dict[str, Any]:
    days = [
        {
            "on": _weekday(day["worn_on"]),
            "today": pd.Timestamp(day["worn_on"]) == today,
            "code": day["dress_code"],
            "pair_id": day["pair_id"] or "",
            "pair": call(day["pair_id"]) if day["pair_id"] else "no pair",
            "reserved": day["reserved"],
        }
        for day in plan["days"]
        if pd.Timestamp(day["worn_on"]) >= today
    ]
    later = [days[first : first + DAYS_PER_WEEK] for first in range(0, len(days), DAYS_PER_WEEK)]
    return {
        "made": wording.long_date(pd.Timestamp(plan["made_at"]).tz_localize(None)),
        "weeks": plan["weeks"],
        "aim": plan["aim"],
        "trade": plan["trade"],
        "days": later[0] if later else [],
        "later": [{"name": week[0]["on"], "days": week} for week in later[1:]],
        "sends": [
            {
                "pair": call(one["pair_id"]),
                "pair_id": one["pair_id"],
                "send_on": _day(one["send_on"]),
                "back_on": _day(one["back_on"]),
            }
            for one in plan["sends"]
        ],
        "pairs": [
            {"pair": call(one["pair_id"]), "pair_id": one["pair_id"], "reason": one["reason"]}
            for one in plan["pairs"]
        ],
        "given_up": [one["sentence"] for one in plan["given_up"]],
        "fewest": plan["fewest_proven"],
        "how_good": how_good(plan["gap"]),
    }


def how_good(gap: float) -> str:
    """Say how near the best plan there can be a plan is, from the part of the score between."""
    if gap < NEAR_ENOUGH:
        return "No plan serves these wishes better."
    if gap > MOST_TOLD:
        return "So many pairs are planned one after another; a better plan may be there."
    return f"A plan that serves these wishes better, by {max(gap, 0.01):.0%} at most, may be there."


def _care(care: Sequence[Mapping[str, Any]]) -> str:
    if not care:
        return "No care is due."
    pairs = wording.plural(len({one["pair_id"] for one in care}), "pair")
    return f"{pairs} of this rack {'wants' if pairs == '1 pair' else 'want'} some care."


def _day(text: str) -> str:
    return wording.long_date(pd.Timestamp(text))


def _weekday(text: str) -> str:
    day = pd.Timestamp(text)
    return f"{day.day_name()[:3]} {day.day} {wording.MONTHS[day.month - 1][:3]}"
