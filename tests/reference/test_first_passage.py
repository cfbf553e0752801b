"""Is the drawn exposure at which a sole is used up that of a random walk with drift?"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtr

from solespan.forecast.dates.first_passage import inverse_gaussian

HEIGHT_MM, DRIFT_MM, VARIANCE_MM2 = 3.0, 0.02, 0.002  # to the limit; per standard wear day
TIMES = np.array([80.0, 110.0, 140.0, 170.0, 220.0])


def closed_form(days: np.ndarray) -> np.ndarray:
    """Brownian motion with drift: Schroedinger, Physikalische Zeitschrift 16:289 (1915)."""
    spread = np.sqrt(VARIANCE_MM2 * days)
    mirrored = np.exp(2 * DRIFT_MM * HEIGHT_MM / VARIANCE_MM2)
    return ndtr((DRIFT_MM * days - HEIGHT_MM) / spread) + mirrored * ndtr(
        -(DRIFT_MM * days + HEIGHT_MM) / spread
    )


def test_draws_follow_the_closed_form() -> None:
    rng = np.random.default_rng(4)
    n = 200_000
    mean = np.full(n, HEIGHT_MM / DRIFT_MM)
    shape = np.full(n, HEIGHT_MM**2 / VARIANCE_MM2)
    drawn = inverse_gaussian(mean, shape, rng.normal(size=n), rng.uniform(size=n))
    share = (drawn[:, None] <= TIMES).mean(axis=0)
    np.testing.assert_allclose(share, closed_form(TIMES), atol=4 * 0.5 / np.sqrt(n))
    assert drawn.mean() == pytest.approx(HEIGHT_MM / DRIFT_MM, rel=2e-3)


def test_closed_form_follows_walks_taken_day_by_day() -> None:
    """Between two days a walk may touch the limit and return: the bridge's chance is added."""
    rng = np.random.default_rng(5)
    n = 10_000
    worn, alive = np.zeros(n), np.ones(n, dtype=bool)
    share = {}
    for day in range(1, int(TIMES[-1]) + 1):
        after = worn + rng.normal(DRIFT_MM, np.sqrt(VARIANCE_MM2), n)
        gaps = np.maximum(HEIGHT_MM - worn, 0) * np.maximum(HEIGHT_MM - after, 0)
        alive &= rng.uniform(size=n) > np.exp(-2 * gaps / VARIANCE_MM2)
        worn = after
        share[day] = 1 - alive.mean()
    walked = [share[int(day)] for day in TIMES]
    np.testing.assert_allclose(walked, closed_form(TIMES), atol=4 * 0.5 / np.sqrt(n))
