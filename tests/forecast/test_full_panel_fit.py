"""Is a fit that was moved from some wearers to all the fit of all?"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from solespan.forecast.log import wear_log
from solespan.forecast.model import full_panel_fit
from solespan.forecast.panel.log_arrays import log_arrays
from solespan.forecast.panel.panel_of_log import panel_of
from solespan.synthetic_data.panel import panel

WEARERS, SOME_PATHS = 150, 450  # six paths a wearer: every other wearer


@pytest.fixture(scope="module")
def all_panel():
    frames, _ = panel(WEARERS, np.random.default_rng(8))
    return panel_of(log_arrays(wear_log(**frames), pd.Timestamp("2026-11-23")))


def test_the_move_to_everyone_lands_where_a_fit_of_everyone_does(all_panel, monkeypatch):
    whole = full_panel_fit.fit_spreads(all_panel)
    monkeypatch.setattr(full_panel_fit, "ENOUGH_PATHS", SOME_PATHS)
    moved = full_panel_fit.estimate(all_panel)
    assert moved.layout.population == whole.layout.population
    seen = ("start", "sole_start", "wearer", "wearer_foot")  # told apart from others by the data
    gap = {n: abs(np.log(moved.spread[n] / whole.spread[n])) for n in seen}
    assert max(gap.values()) < 0.1, gap
    # a move by a curvature that is off costs many times more
    assert moved.objective - whole.objective < 3.0
    assert moved.noise.process_mm == pytest.approx(whole.noise.process_mm, rel=0.3)
