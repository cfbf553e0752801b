"""Baseline forecasts.

What would be forecast without statistics: a line through each shoe's readings, or one rate?

The two yardsticks that every forecast here is measured against. Both give a single day.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from solespan.forecast.dates.models.entry import DueModel, DueRows
from solespan.forecast.frames import FEET
from solespan.forecast.log import WearLog
from solespan.forecast.panel.exposure import days_of
from solespan.forecast.panel.foot_pairs import foot_pairs
from solespan.forecast.panel.panel import THUMB, Panel
from solespan.forecast.panel.panel_of_log import build_panel

__all__ = ["LINE", "RATE", "population_rate", "straight_line"]

_OTHERS = "no line of its own yet: judged by the mean of the other shoes' straight lines"


def straight_line(
    log: WearLog, as_of: pd.Timestamp, horizon_days: int, _fit: object = None
) -> DueRows:
    """Days until each foot's own straight line meets the limit.

    Each shoe has a least-squares line of thickness on logged wear days through its gauge readings.
    The line is carried on at the pair's mean pace. A shoe with fewer than two readings, or whose
    line does not fall, wears at the mean of the lines that do.
    """
    panel = build_panel(log, as_of)
    worn = panel.exposure.base.sum(axis=1)
    gauge = (panel.obs_kind < THUMB) & ~panel.obs_waist
    path, x, y = panel.obs_path[gauge], worn[panel.obs_target[gauge]], panel.obs_mm[gauge]
    n = len(panel.nominal_mm)

    def total(weight: np.ndarray) -> np.ndarray:
        return np.bincount(path, weights=weight, minlength=n)

    count = np.maximum(total(np.ones_like(x)), 1e-9)
    mean_x, mean_y = total(x) / count, total(y) / count
    spread_x = total(np.square(x - mean_x[path]))
    slope = total((x - mean_x[path]) * (y - mean_y[path])) / np.maximum(spread_x, 1e-9)
    good = (count > 1.5) & (slope < -1e-5) & (panel.path_point == 0)
    mean_rate = float(-np.mean(slope[good])) if good.any() else 0.02
    rate = np.where(good, -slope, mean_rate)
    now = worn[panel.path_end]
    thickness = np.where(count > 0.5, mean_y - rate * (now - mean_x), panel.nominal_mm - rate * now)
    said = _due_rows(log, panel, thickness, rate, horizon_days)
    own = good[foot_pairs(panel, ball_only=True).both]
    judged = np.where([*own, own.all(axis=0)], LINE.reason, _OTHERS).ravel()
    return DueRows(said.rows.assign(reason=judged), said.days)


def population_rate(
    log: WearLog, as_of: pd.Timestamp, horizon_days: int, _fit: object = None
) -> DueRows:
    """Days until the nominal thickness is used up at one rate for each material.

    The rate is total loss over total wear, from the last gauge reading of each shoe.
    """
    panel = build_panel(log, as_of)
    worn = panel.exposure.base.sum(axis=1)
    gauge = (panel.obs_kind < THUMB) & ~panel.obs_waist & (panel.path_point[panel.obs_path] == 0)
    last = np.full(len(panel.nominal_mm), -1)
    last[panel.obs_path[gauge]] = np.flatnonzero(gauge)
    seen = last >= 0
    loss = np.zeros(len(last))
    wear = np.zeros(len(last))
    loss[seen] = panel.nominal_mm[seen] - panel.obs_mm[last[seen]]
    wear[seen] = worn[panel.obs_target[last[seen]]]
    overall = max(loss.sum(), 0.02) / max(wear.sum(), 1.0)
    by_material = np.bincount(panel.material, loss, 8) + 20 * overall
    rate = (by_material / (np.bincount(panel.material, wear, 8) + 20))[panel.material]
    rate = np.maximum(rate, 1e-4)
    thickness = panel.nominal_mm - rate * worn[panel.path_end]
    return _due_rows(log, panel, thickness, rate, horizon_days)


LINE = DueModel(
    "line",
    "straight line per shoe",
    "judged by a straight line through the shoe's own readings",
    straight_line,
)
RATE = DueModel(
    "rate", "one rate by material", "judged by one wear rate for its material", population_rate
)


def _due_rows(
    log: WearLog, panel: Panel, thickness_mm: np.ndarray, rate_mm: np.ndarray, horizon_days: int
) -> DueRows:
    """Carry thickness down to the limit, at each pair's mean logged pace."""
    paths = foot_pairs(panel, ball_only=True).both
    pair = panel.path_pair[paths[0]]
    days = log.wear_days[days_of(log.wear_days["worn_on"]) <= panel.as_of_day]
    code = pd.Index(panel.pair_ids).get_indexer(pd.Index(days["pair_id"].astype(object)))
    worn = np.bincount(code[code >= 0], minlength=len(panel.pair_ids))
    begun = np.full(len(panel.pair_ids), panel.as_of_day)
    np.minimum.at(begun, panel.sole_pair, panel.sole_fitted)
    span = np.maximum(panel.as_of_day - begun, 30)
    pace = np.maximum(worn / span, 1e-3)[pair]
    remaining = ((thickness_mm - panel.limit_mm) / rate_mm)[paths]
    until = np.clip(remaining / pace, 0, horizon_days)
    thickness, rate = np.maximum(thickness_mm, 0.0)[paths], rate_mm[paths]
    order = np.sign(remaining[0] - remaining[1]).astype(int)
    leads = np.where(order > 0, rate[1], rate[0])
    rows = pd.DataFrame(
        {
            "pair_id": np.tile(panel.pair_ids[pair], 3),
            "foot": np.repeat([*FEET, "pair"], len(pair)),
            "point": "ball",
            "thickness_mm_p50": np.concatenate([*thickness, thickness.min(axis=0)]),
            "rate_mm_per_wear_day_p50": np.concatenate([*rate, leads]),
            "first_foot": np.tile(np.array([None, "right", "left"], dtype=object)[order], 3),
        }
    )
    return DueRows(rows, np.concatenate([*until, until.min(axis=0)])[:, None])
