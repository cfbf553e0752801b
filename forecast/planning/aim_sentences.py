"""Aim sentences: what does a plan aim at, and what did it give up for that, in plain words?"""

from __future__ import annotations

from dataclasses import asdict

import numpy as np

from solespan.forecast.planning.planner import RackPlan
from solespan.forecast.planning.score import quarter_of_week

__all__ = ["aim_of", "trade_of"]

_AIMS = {
    "even": "even wear",
    "spread": "new soles spread over the quarters",
    "cost": "few new soles",
    "occasions": "the right pair on each occasion",
    "best": "your preferences",
}
_USUAL = 2


def aim_of(plan: RackPlan) -> str:
    """Say what a plan aims at: what matters more than usual, what counts not, and the soles."""
    levels = asdict(plan.rack.wishes.aims)
    most = [words for name, words in _AIMS.items() if levels[name] > _USUAL]
    none = [words for name, words in _AIMS.items() if levels[name] == 0]
    said = (
        f"This plan aims above all at {_joined(most)}."
        if most
        else (
            "This plan weighs all aims alike."
            if not none
            else "This plan weighs the other aims alike."
        )
    )
    if none:
        said += f" It leaves aside {_joined(none)}."
    return f"{said} {_soles(plan)}"


def trade_of(plan: RackPlan) -> str:
    """Say what a plan gave up for its aims, beside wishes: the share passed most, or nothing."""
    rack, wears = plan.rack, plan.wears
    over = wears - rack.target
    pair = int(np.argmax(over)) if len(over) else 0
    if not len(over) or over[pair] <= max(2, 0.2 * rack.target[pair]):
        return "Every pair is worn about as often as its share says."
    name = rack.states[pair].label or rack.states[pair].pair_id
    return (
        f"It gave up even wear: {name} is worn {int(wears[pair])} times, "
        f"and its share is {int(rack.target[pair])}."
    )


def _soles(plan: RackPlan) -> str:
    weeks = np.nonzero(plan.sent)[1].tolist()
    if not weeks:
        return "No pair goes to the bench."
    quarters = [quarter_of_week(plan.rack, week) for week in weeks]
    most = max(quarters.count(one) for one in quarters)
    soles = "1 new sole" if len(weeks) == 1 else f"{len(weeks)} new soles"
    return f"It has {soles}, at most {most} in one quarter."


def _joined(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
