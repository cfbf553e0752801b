"""Does the engine's wear, a random walk with drift, have the reference likelihoods and passages?

Increase of the lasers' current as a Wiener process (Meeker and Escobar, 1998, table C.17): own
maximum likelihood by two programs that agree, not from print. Readings have next to no error here.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.special import ndtr

from solespan.forecast.dates.first_passage import remaining_exposure
from solespan.forecast.model.inner_loop import modes
from solespan.forecast.model.linearise import Noise
from solespan.forecast.model.sole_state import sole_state
from solespan.forecast.observation.thumb import ThumbScale
from solespan.forecast.panel.foot_pairs import FootPairs, foot_pairs
from solespan.forecast.panel.panel import Panel
from solespan.forecast.priors import SPREADS
from tests.reference.bare_panel import bare_panel
from tests.reference.nested_fit import ABSENT, LineFit, Lines, Published, fit_ml, layout_of

NO_READING_ERROR = 1e-5
RATE_MM, VARIANCE_PER_MM, LIMIT_MM = 0.02, 0.1, 2.0
DRAWS = 1 << 14


def increments(laser: pd.DataFrame, sloped: str) -> LineFit:
    """Fit drift and variance of the walks from the readings after the first, which is nothing."""
    lines = Lines(
        laser[laser["x"] > 0], (0.0, 2.0), 0.0, 0.5, NO_READING_ERROR, sloped=sloped,
        intercept=False, residual_held=True, process=0.1,
    )  # fmt: skip
    return lines.at(fit=fit_ml)


def test_laser_increments_as_one_wiener_process(laser: pd.DataFrame) -> None:
    """No laser differs from another: the SD that is free is that of toes, and there are none."""
    fit = increments(laser, "shoe_other")
    grown = laser.sort_values(["group", "x"]).groupby("group")[["x", "y"]].diff().dropna()
    drift = grown["y"].sum() / grown["x"].sum()
    assert fit.slope == pytest.approx(drift, rel=1e-6)
    variance = np.mean(np.square(grown["y"] - drift * grown["x"]) / grown["x"])
    assert fit.process == pytest.approx(variance, rel=1e-5)
    assert fit.llf == pytest.approx(45.5195, abs=1e-4)


def test_laser_increments_as_wiener_processes_of_their_own_drifts(laser: pd.DataFrame) -> None:
    fit = increments(laser, "shoe")
    assert fit.found.converged
    assert fit.llf == pytest.approx(69.0718, abs=1e-4)


def known_sole() -> tuple[Panel, FootPairs, np.ndarray, np.ndarray]:
    """Both feet of one sole, whose rates are known and whose thickness was read just now."""
    rows = [(x, right, 5.0 - RATE_MM * x) for x in (0.0, 50.0, 100.0) for right in (0, 1)]
    frame = pd.DataFrame(rows, columns=["x", "right", "y"]).assign(group=0)
    frame.loc[frame["x"] == 100.0, "y"] += [0.1, -0.2]
    panel = bare_panel(frame)
    panel = replace(panel, limit_mm=panel.limit_mm + LIMIT_MM)
    return panel, foot_pairs(panel), np.array([3.1, 2.8]), np.full((2, 1), LIMIT_MM)


def closed_form(x: np.ndarray, height_mm: float) -> np.ndarray:
    """First passage of Brownian motion with drift: Schroedinger, Phys. Z. 16:289 (1915)."""
    variance = VARIANCE_PER_MM * RATE_MM
    spread = np.sqrt(variance * x)
    mirrored = np.exp(2.0 * RATE_MM * height_mm / variance)
    below = ndtr((RATE_MM * x - height_mm) / spread)
    return below + mirrored * ndtr(-(RATE_MM * x + height_mm) / spread)


def test_the_first_foot_is_due_as_two_walks_are_that_nothing_else_is_known_of() -> None:
    """From arrays through linearisation, elimination and joint state to draws of both feet."""
    panel, feet, today_mm, limit_mm = known_sole()
    model = Published(
        {"start_mm": (5.0, 1.0), "level": (np.log(RATE_MM), 1.0)}, {}, NO_READING_ERROR
    )
    layout = layout_of(panel, model, np.array([5.0, np.log(RATE_MM)]), np.full(2, 1e-9))
    noise = Noise((NO_READING_ERROR,) * 3, VARIANCE_PER_MM, ThumbScale(), slip_share=0.0)
    at = modes(panel, layout, dict.fromkeys(SPREADS, ABSENT), noise)
    state = sole_state(panel, at, feet)
    assert state.mean[[1, 3], 0] == pytest.approx(today_mm, abs=1e-4)
    x, *_ = remaining_exposure(state, limit_mm, VARIANCE_PER_MM, DRAWS)
    days = np.array([10.0, 25.0, 40.0, 60.0, 90.0])
    feet_due = [closed_form(days, height) for height in today_mm - LIMIT_MM]
    for foot, due in zip(x[:, 0], feet_due, strict=True):
        np.testing.assert_allclose((foot[:, None] <= days).mean(axis=0), due, atol=0.004)
    pair = x[:, 0].min(axis=0)
    both = 1.0 - (1.0 - feet_due[0]) * (1.0 - feet_due[1])
    np.testing.assert_allclose((pair[:, None] <= days).mean(axis=0), both, atol=0.006)
