"""Does a small rack, solved as one dense system, get the answers of the elimination by level?"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from solespan.forecast import forecast
from solespan.forecast.model import inner_loop as modes_module
from solespan.forecast.model.wear_model import condition
from tests.forecast.builders import TODAY, grade, log_of, rack, reading, together

HORIZON_DAYS = 1826


def frames_of(case: str) -> dict:
    frames = rack(3, wearer_id="eve", seed=4, driving_foot="left")
    more = {
        "gauge": [],
        "thumbs": [grade("eve-0", k, foot, "give") for k in (300, 350) for foot in ("left",)],
        "hole": [grade("eve-1", 360, "right", "hole")],
        "toe and heel": [
            reading("eve-2", 200, "left", 4.0) | {"point": point} for point in ("toe", "heel")
        ],
        "two wearers": [],
        "thumbs, no log": [grade("eve-1", 360, "right", "give")],
    }[case]
    frames["checks"] = pd.concat([frames["checks"], pd.DataFrame(more)], ignore_index=True)
    if case == "thumbs, no log":  # sees no weather and no gauge, which the fit knows
        frames["wear_days"] = frames["wear_days"].iloc[:0]
        frames["checks"] = frames["checks"].loc[frames["checks"]["method"] == "thumb"]
    return together(frames, rack(1, wearer_id="fay", seed=8)) if case == "two wearers" else frames


CASES = ["gauge", "thumbs", "hole", "toe and heel", "two wearers", "thumbs, no log"]


@pytest.mark.parametrize("case", CASES)
def test_it_has_the_answers_of_the_elimination_by_level(case, shared_fit, monkeypatch) -> None:
    log = log_of(frames_of(case))
    dense = condition(shared_fit, log, TODAY, HORIZON_DAYS)
    rows = forecast(shared_fit, log, TODAY)
    assert len(dense.panel.nominal_mm) <= modes_module.FEW_PATHS
    monkeypatch.setattr(modes_module, "FEW_PATHS", 0)
    nested = condition(shared_fit, log, TODAY, HORIZON_DAYS)
    np.testing.assert_allclose(dense._modes.deviation, nested._modes.deviation, atol=1e-9)
    np.testing.assert_allclose(dense._modes.lin.end_mm, nested._modes.lin.end_mm, atol=1e-9)
    # medians are of draws in single precision
    pd.testing.assert_frame_equal(rows, forecast(shared_fit, log, TODAY), rtol=1e-6)
