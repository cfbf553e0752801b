"""How are bare arrays of a published model laid out as a panel of the nested engine?

Every part that published models do not have is absent: no packing, no thumb, no multipliers, no
sole that came off. A group is a pair with one sole; its two shoes are the two feet.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from solespan.forecast.covariates import FLAGS
from solespan.forecast.frames import MATERIALS
from solespan.forecast.panel.exposure import Exposure
from solespan.forecast.panel.panel import Panel
from solespan.forecast.panel.rate_ages import STEPS

LEVEL_MATERIAL, OTHER_MATERIAL = 0, MATERIALS.index("rubber")


def bare_panel(frame: pd.DataFrame) -> Panel:
    """Lay out what falls with exposure.

    Columns: `y` what is read, `x` its exposure (below zero before the origin), `group`. Optional:
    `wearer` (default: each group its own), `right` (1: the group's second shoe), `extra` (1: a
    common step of some readings, the unknown `log_driving`), `drives` (1: shoe that has the effect
    `drive_ball`), `other` (1: shoe that has the effect `material_rubber`).
    """
    none = pd.DataFrame(0.0, frame.index, ["right", "extra", "drives", "other"])
    full = frame.assign(**{c: frame.get(c, none[c]) for c in none})
    full = full.assign(wearer=frame.get("wearer", frame["group"]))
    full = full.sort_values(["wearer", "group", "right", "x"], kind="stable")
    group = (full["group"] != full["group"].shift()).cumsum().to_numpy() - 1
    wearer = (full["wearer"] != full["wearer"].shift()).cumsum().to_numpy() - 1
    first = np.flatnonzero(np.diff(group, prepend=-1))
    groups, rows = len(first), len(full)
    path = 2 * group + full["right"].to_numpy(int)

    def of_path(name: str) -> np.ndarray:
        out = np.zeros(2 * groups)
        out[path] = full[name]
        return out

    every, zero = np.arange(groups), np.zeros(2 * groups, int)
    labels = full["group"].to_numpy(object)[first]
    return Panel(
        wearer_ids=np.unique(wearer).astype(object),
        pair_ids=labels,
        pair_wearer=wearer[first],
        pair_group=np.zeros(groups, int),
        unlogged=np.zeros(groups, bool),
        gap_weight=np.ones(groups),
        pair_wears=np.ones(groups),
        pace_log=np.full(groups, np.nan),
        pace_sd=np.full(groups, np.nan),
        pair_contact=np.zeros(groups, int),
        pair_said=np.zeros(groups, int),
        moving=np.zeros(groups),
        sole_ids=labels,
        sole_pair=every,
        sole_fitted=np.zeros(groups, int),
        path_pair=np.repeat(every, 2),
        path_sole=np.repeat(every, 2),
        path_foot=np.tile([0, 1], groups),
        path_point=zero,
        path_end=np.repeat(np.r_[first[1:], rows] - 1, 2),
        path_begin=zero - 1,
        current=np.ones(2 * groups, bool),
        nominal_mm=np.zeros(2 * groups),
        limit_mm=np.zeros(2 * groups),
        material=np.where(of_path("other") > 0, OTHER_MATERIAL, LEVEL_MATERIAL),
        assumed=np.zeros(2 * groups, bool),
        drives=of_path("drives"),
        obs_path=path,
        obs_target=np.arange(rows),
        obs_kind=np.zeros(rows, int),
        obs_mm=full["y"].to_numpy(float),
        obs_grade=np.full(rows, -1),
        obs_waist=np.zeros(rows, bool),
        obs_check=np.arange(rows),
        target_sole=group,
        target_day=np.arange(rows),
        target_older=np.zeros((rows, STEPS)),
        exposure=Exposure(
            base=full["x"].to_numpy(float)[:, None],
            driving=full["extra"].to_numpy(float)[:, None],
            silent=np.zeros(rows),
            flags=np.zeros((1, len(FLAGS))),
        ),
        as_of_day=0,
    )
