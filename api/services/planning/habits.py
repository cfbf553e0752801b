"""Habits service.

What would the forecasts of a stored rack be under other habits or a stored plan?
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import MISSING, fields
from typing import Any

import pandas as pd

from solespan.api.services.context import AppContext
from solespan.api.services.planning.plans import read_plan
from solespan.api.services.planning.rack import known_rack, refusing
from solespan.forecast.planning import BadPlan, ConditionShare, Pace, Retire, Trip, what_if

__all__ = ["forecasts_if"]


def forecasts_if(
    ctx: AppContext,
    wearer_id: str,
    habits: Sequence[Mapping[str, Any]],
    *,
    rest_days: int | None = None,
    plan_id: str | None = None,
) -> dict[str, Any]:
    """Forecast a rack as it is and under other habits, side by side.

    Parameters
    ----------
    habits
        Each with `kind` (pace, retire, trip, condition) and the fields of that type of
        `forecast.planning.habits`.

    Raises `NotFound`, `NothingForecast`, `Refused`.
    """
    with ctx.database.reading() as session:
        rack = known_rack(ctx, session, wearer_id)
        row = None if plan_id is None else read_plan(session, plan_id)
    plan = None
    if row is not None:
        days = pd.DataFrame(row["answer"]["days"])
        days = days[days["pair_id"].notna()]
        plan = days[pd.to_datetime(days["worn_on"]) > rack.as_of]
    with refusing("Correct it and ask again."):
        frame = what_if(
            rack.fitted(),
            rack.log,
            rack.as_of,
            [_habit(one) for one in habits],
            plan=plan,
            rest_days=rest_days,
            settings=rack.settings,
        )
    labels = dict(zip(rack.log.pairs["pair_id"], rack.log.pairs["label"], strict=True))
    return {
        "wearer_id": wearer_id,
        "as_of": rack.today.isoformat(),
        "items": [_row(one, labels) for one in frame.to_dict("records")],
    }


_KINDS: dict[str, type[Pace | Retire | Trip | ConditionShare]] = {
    "pace": Pace,
    "retire": Retire,
    "trip": Trip,
    "condition": ConditionShare,
}


def _habit(one: Mapping[str, Any]) -> Pace | Retire | Trip | ConditionShare:
    """Make a habit of the fields of its kind; others are left aside. Raises `BadPlan`."""
    made = _KINDS[one["kind"]]
    values: dict[str, Any] = {}
    for known in fields(made):
        value: Any = one.get(known.name)
        if value is None:
            if known.default is MISSING:
                raise BadPlan(
                    f"A habit of the kind {one['kind']} needs {known.name}.",
                    field=known.name,
                    accepted="a value",
                )
            continue
        if known.name in ("since", "until"):
            value = pd.Timestamp(value)
        values[known.name] = tuple(value) if known.name == "pair_ids" else value
    return made(**values)


def _row(one: Mapping[Any, Any], labels: Mapping[str, Any]) -> dict[str, Any]:
    out: dict[str, Any] = {}
    for name, value in one.items():
        if isinstance(value, pd.Timestamp):
            out[name] = value.date().isoformat()
        elif value is pd.NaT:
            out[name] = None
        else:
            out[name] = round(float(value), 4) if isinstance(value, float) else value
    label = labels.get(out["pair_id"])
    out["label"] = label if isinstance(label, str) else None
    return out
