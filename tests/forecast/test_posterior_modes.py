"""Is every wearer followed until nothing moves, whoever else is there?"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from solespan.forecast import WearModel, wear_log
from solespan.forecast.model.dense import FEW_PATHS
from solespan.forecast.model.inner_loop import STILL, modes
from solespan.forecast.model.parameter_layout import coordinates, facts_of
from solespan.forecast.model.posterior_modes import converged_modes
from solespan.forecast.panel.log_arrays import log_arrays
from solespan.forecast.panel.panel import panel_range
from solespan.forecast.panel.panel_of_log import panel_of
from solespan.synthetic_data.panel import panel

WEARERS, SOME = 60, 30
AS_OF = pd.Timestamp("2026-11-23")


@pytest.fixture(scope="module")
def known():
    """Fit wearers, of whom one in six misread a gauge by far."""
    frames, _ = panel(WEARERS, np.random.default_rng(4))
    checks = frames["checks"].copy()
    place = np.random.default_rng(5).choice(len(checks), WEARERS // 6, replace=False)
    checks.loc[checks.index[place], "value_mm"] += 1.5
    log = wear_log(**frames | {"checks": checks})
    return WearModel(log, AS_OF).fit(), panel_of(log_arrays(log, AS_OF))


def stand_of(fit, data, how, **more):
    layout = coordinates(data)
    population = fit.population(layout.population)
    return how(data, layout, fit.spread, fit.noise, population=population, **more)


def test_wearers_stand_where_many_steps_of_all_would_lead(known):
    fit, data = known
    assert len(data.nominal_mm) > FEW_PATHS
    soon, long = stand_of(fit, data, converged_modes), stand_of(fit, data, modes, steps=60)
    assert soon.stand.moved.max() < STILL
    # what is left to go shrinks by about half a step
    assert np.abs(soon.deviation - long.deviation).max() < 4.0 * STILL
    np.testing.assert_allclose(soon.log_rate_variance, long.log_rate_variance, rtol=0.02)


def test_who_shares_the_block_changes_nothing(known):
    fit, data = known
    part = panel_range(data, 0, SOME)
    assert facts_of(part) == facts_of(data)
    assert len(part.nominal_mm) > FEW_PATHS
    apart, together = (stand_of(fit, p, converged_modes) for p in (part, data))
    n = len(part.nominal_mm)
    np.testing.assert_allclose(apart.deviation, together.deviation[:, :n], atol=1e-9)
