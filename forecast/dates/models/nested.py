"""Nested wear model as one of several: how is it fitted, forecast from and scored by its entry?"""

from __future__ import annotations

import pandas as pd

from solespan.forecast.dates.due import due_sample, forecast
from solespan.forecast.dates.models.entry import DueModel, DueRows
from solespan.forecast.log import WearLog
from solespan.forecast.model.distributed_fit import fit_split
from solespan.forecast.model.wear_fit import WearFit
from solespan.forecast.model.wear_model import WearModel
from solespan.forecast.panel.wearer_parts import Runner, wearer_parts

__all__ = ["ENTRY"]


def _fit(log: WearLog, as_of: pd.Timestamp, start: WearFit | None) -> WearFit:
    return WearModel(log, as_of).fit(start=start)


def _fit_parts(runner: Runner, log: WearLog, as_of: pd.Timestamp, start: WearFit | None) -> WearFit:
    parts = runner.hold(wearer_parts(log, runner.workers))
    return fit_split(runner, parts, as_of, start=start)


def _draw(log: WearLog, as_of: pd.Timestamp, horizon_days: int, fit: WearFit) -> DueRows:
    sample = due_sample(fit, log, as_of, horizon_days)
    rows = pd.DataFrame({"pair_id": sample.index, "foot": "pair", "point": "ball"})
    return DueRows(rows, sample.to_numpy())


ENTRY = DueModel(
    "nested",
    "this model",
    "judged by wear, checks and use of all soles together: the nested model",
    _draw,
    _fit,
    forecast,
    _fit_parts,
)
