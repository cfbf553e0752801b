"""Share of wear days under a condition: how much more does a pair wear if it becomes another?

The factor stands on the exposure of one wear day, at the fit's mean multiplier.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from solespan.forecast.covariates import FLAGS
from solespan.forecast.model.wear_fit import WearFit
from solespan.forecast.panel.wear_cells import base_exposure
from solespan.forecast.planning.errors import BadPlan

__all__ = ["CONDITION_NAMES", "ConditionShare", "condition_factors"]

CONDITION_NAMES: dict[str, str] = {c.name: c.days for c in FLAGS.values() if c.days}


@dataclass(frozen=True)
class ConditionShare:
    """From now on so large a share (0 to 1) of a pair's wear days has this condition."""

    pair_id: str
    condition: str
    share: float


def condition_factors(
    fit: WearFit, wear_days: pd.DataFrame, pair_ids: Sequence[str], habits: Sequence[ConditionShare]
) -> np.ndarray:
    """Exposure of one wear day under the habits over that of today, shape (pairs,).

    Parameters
    ----------
    fit : WearFit
    wear_days : DataFrame
        Columns `frames.WEAR_DAYS`: they tell the conditions of the past.
    pair_ids : sequence of str
    habits : sequence of ConditionShare
        Habits of different conditions multiply; the last of the same condition counts.

    Raises
    ------
    BadPlan
        The pair or the condition is unknown, or the share is outside 0 to 1.
    """
    row = {pair_id: i for i, pair_id in enumerate(pair_ids)}
    out = np.ones(len(pair_ids))
    last = {(h.pair_id, h.condition): h for h in habits}
    for habit in last.values():
        _check(habit, row)
        mine = wear_days[wear_days["pair_id"] == habit.pair_id]
        out[row[habit.pair_id]] *= _factor(fit, mine, habit)
    return out


def _check(habit: ConditionShare, row: dict[str, int]) -> None:
    if habit.pair_id not in row:
        raise BadPlan(
            f"There is no pair {habit.pair_id!r} with a sole on it on this rack.",
            field="pair_id",
            accepted=", ".join(sorted(row)[:8]),
        )
    if habit.condition not in CONDITION_NAMES:
        raise BadPlan(
            f"{habit.condition!r} is no condition of a wear day.",
            field="condition",
            accepted=", ".join(CONDITION_NAMES),
        )
    if not 0.0 <= habit.share <= 1.0:
        raise BadPlan(f"A share of {habit.share:g}.", field="share", accepted="0 to 1")


def _factor(fit: WearFit, days: pd.DataFrame, habit: ConditionShare) -> float:
    asked = FLAGS[habit.condition]
    effect = {c.name: np.exp(fit.value(f"log_{c.name}")) for c in FLAGS.values()}
    multiplier = effect[asked.name]
    if days.empty:
        return float(1.0 + habit.share * (multiplier - 1.0))
    plain = base_exposure(days)  # without the conditions that the same column tells
    same = np.ones(len(days))
    for other in FLAGS.values():
        counted = np.where(other.flag(days), effect[other.name], 1.0)
        if other.logged.column.name == asked.logged.column.name:
            same = same * counted
        else:
            plain = plain * counted
    today = float((plain * same).sum())
    without = ~asked.flag(days)
    rest = float((plain * same)[without].sum() / plain[without].sum()) if without.any() else 1.0
    then = float(plain.sum()) * ((1.0 - habit.share) * rest + habit.share * multiplier)
    return then / today if today > 0.0 else 1.0
