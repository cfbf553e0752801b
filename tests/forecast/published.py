"""How are published degradation data written as a log of soles?"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from solespan.forecast.log import WearLog
from tests.forecast.builders import day, log_of, pair_row, reading, sole_row

DATA = Path(__file__).parents[3] / "shared" / "data"


def degradation_log(
    name: str, unit: str, exposure: str, loss: str, *, days: float, mm: float
) -> WearLog:
    """One unit as the left shoe of one pair: `days` wear days per unit of exposure, `mm` of loss.

    Skips the test where the data are not there.
    """
    path = DATA / name
    if not path.exists():
        pytest.skip(f"{name} is not here: put it into {DATA}")
    frame = pd.read_csv(path)
    frame["day"] = (frame[exposure] * days).round().astype(int)
    ids = {u: f"unit-{u}" for u in frame[unit].unique()}
    last = int(frame["day"].max())
    checks = [
        reading(ids[row[unit]], int(row["day"]), "left", 9.0 - mm * row[loss], "depth_gauge")
        for _, row in frame.iterrows()
    ]
    wear = pd.DataFrame(
        {
            "pair_id": np.repeat(list(ids.values()), last),
            "worn_on": np.tile([day(k) for k in range(1, last + 1)], len(ids)),
            "hours": 8.0,
        }
    )
    return log_of(
        {
            "pairs": pd.DataFrame([pair_row(p, "lab") for p in ids.values()]),
            "soles": pd.DataFrame([sole_row(p, nominal_thickness_mm=9.0) for p in ids.values()]),
            "wear_days": wear,
            "checks": pd.DataFrame(checks),
        }
    )
