"""Crowd constraints.

Which rows of the programme count soles in one quarter, in one month, and near the end of the plan?
"""

from __future__ import annotations

from solespan.forecast.planning.optimum.share_model import ShareModel
from solespan.forecast.planning.score import (
    AFTER_SHARE,
    EXTRA_SOLES,
    MONTH_COST,
    RUNGS,
    is_counted,
    month_of_week,
    quarter_of_week,
    sends_apart,
)

__all__ = ["add_crowds"]


def add_crowds(model: ShareModel, *, searched: bool = True) -> None:
    """Count soles beyond the usual number, and pairs that stand near their end on the last day.

    `searched` : hand-overs are searched for, not given.
    """
    rack, programme, most = model.rack, model.programme, float(len(model.rack.states))
    months: dict[tuple[int, int], list[int]] = {}
    quarters: dict[tuple[int, int], list[int]] = {}
    for week in range(model.weeks):
        months.setdefault(month_of_week(rack, week), []).append(week)
        quarters.setdefault(quarter_of_week(rack, week), []).append(week)
    pairs = range(len(rack.states))
    counted = {at: v for at, v in model.send.items() if is_counted(rack, *at)}
    for weeks in months.values():
        second = programme.variable(-MONTH_COST, most * len(weeks))
        sent = [(v, 1.0) for (p, k), v in counted.items() if k in weeks]
        programme.row([*sent, (second, -1.0)], most=1.0)
    cost, usual = rack.wishes.aims.quarter_cost, rack.usual_per_quarter
    before = sends_apart(rack)
    for quarter, weeks in quarters.items():
        further = [
            (programme.variable(-cost * k, 1.0 if k < EXTRA_SOLES else most * len(weeks)), -1.0)
            for k in range(1, EXTRA_SOLES + 1)
        ]
        sent = [(v, 1.0) for (p, k), v in counted.items() if k in weeks]
        programme.row([*sent, *further], most=float(usual - before.get(quarter, 0)))
    # where few hand-overs are left to choose from, counting what comes after decides nothing
    for rung in RUNGS if cost and searched else ():
        near = []
        for pair in pairs:
            if rack.sendable[pair]:
                wears = float(rung * rack.quarter_wears[pair])
                below = programme.variable()
                programme.row([(model.rest[pair], 1.0), (below, wears)], least=wears)
                near.append((below, 1.0))
        crowd = programme.variable(-AFTER_SHARE * cost, most)
        programme.row([*near, (crowd, -1.0)], most=float(rung * usual))
