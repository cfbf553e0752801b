"""Plan page.

What does the planning page say: the days ahead, the bench, why, the care due and the cost?

Takes what the service answers (plain dicts with ISO dates) and gives words and rows.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import pandas as pd

from solespan.dashboards import wording

__all__ = ["DAYS_SHOWN", "NEAR_ENOUGH", "how_good", "plan_page"]

DAYS_SHOWN = 14
NEAR_ENOUGH = 0.005


def plan_page(
    plan: Mapping[str, Any] | None,
    care: Sequence[Mapping[str, Any]],
    life: Mapping[str, Any] | None,
    names: Mapping[str, str],
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
    life : mapping or None
        Cost of the rack.
    names : mapping
        What each pair is called, by pair.
    wearers : sequence of (wearer_id, name)
    """

    def call(pair_id: str) -> str:
        return names.get(pair_id, pair_id)

    return {
        "wearer_id": wearer_id,
        "wearers": wearers,
        "one_wearer": len(wearers) < 2,
        "plan": None if plan is None else _plan(plan, call, today),
        "care": _care(care),
        "life": [] if life is None else [_life(one, call) for one in life["items"]],
        "per_year": "" if life is None else _per_year(life),
    }


def _plan(
    plan: Mapping[str, Any], call: Callable[[str], str], today: pd.Timestamp
) -> dict[str, Any]:
    ahead = [day for day in plan["days"] if pd.Timestamp(day["worn_on"]) >= today]
    return {
        "made": wording.long_date(pd.Timestamp(plan["made_at"]).tz_localize(None)),
        "weeks": plan["weeks"],
        "days": [
            {
                "on": _weekday(day["worn_on"]),
                "code": day["dress_code"],
                "pair_id": day["pair_id"] or "",
                "pair": call(day["pair_id"]) if day["pair_id"] else "no pair",
                "reserved": day["reserved"],
            }
            for day in ahead[:DAYS_SHOWN]
        ],
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
    return f"A plan that serves these wishes better, by {max(gap, 0.01):.0%} at most, may be there."


def _care(care: Sequence[Mapping[str, Any]]) -> str:
    if not care:
        return "No care is due."
    pairs = wording.plural(len({one["pair_id"] for one in care}), "pair")
    return f"{pairs} of this rack {'wants' if pairs == '1 pair' else 'want'} some care."


def _per_year(life: Mapping[str, Any]) -> str:
    return wording.money(life["cost_per_year_minor"], life["currency"])


def _life(one: Mapping[str, Any], call: Callable[[str], str]) -> dict[str, str]:
    return {
        "pair_id": one["pair_id"],
        "pair": call(one["pair_id"]),
        "wears": str(one["wears"] or "none logged"),
        "per_wear": wording.money(one["cost_per_wear_minor"], one["currency"]),
        "left": str(one["resoles_left"]),
        "sentence": one["sentence"],
        "arithmetic": one["arithmetic"],
    }


def _day(text: str) -> str:
    return wording.long_date(pd.Timestamp(text))


def _weekday(text: str) -> str:
    day = pd.Timestamp(text)
    return f"{day.day_name()[:3]} {day.day} {wording.MONTHS[day.month - 1][:3]}"
