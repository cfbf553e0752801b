"""Does the search walk to minima and away from saddles?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from solespan.forecast.linear.newton import minimise


@dataclass(frozen=True)
class Point:
    value: float
    gradient: np.ndarray
    hessian: np.ndarray


def banana(theta: np.ndarray) -> Point:
    """Rosenbrock's valley, minimum 0 at (1, 1)."""
    x, y = theta
    return Point(
        (1 - x) ** 2 + 100 * (y - x * x) ** 2,
        np.array([-2 * (1 - x) - 400 * x * (y - x * x), 200 * (y - x * x)]),
        np.array([[2 - 400 * y + 1200 * x * x, -400 * x], [-400 * x, 200.0]]),
    )


def two_wells(theta: np.ndarray) -> Point:
    """(x^2 - 1)^2 + y^2: a saddle at the origin, minima at (1, 0) and (-1, 0)."""
    x, y = theta
    return Point(
        (x * x - 1) ** 2 + y * y,
        np.array([4 * x * (x * x - 1), 2 * y]),
        np.array([[12 * x * x - 4, 0.0], [0.0, 2.0]]),
    )


def test_a_curved_valley_is_followed_to_its_end() -> None:
    end = minimise(banana, np.array([-1.2, 1.0]))
    assert end.converged
    np.testing.assert_allclose(end.theta, [1, 1], atol=1e-4)


@pytest.mark.parametrize("start", [(0.0, 0.0), (0.0, 3.0), (1 / np.sqrt(3), 0.0), (0.0, -1e-9)])
def test_a_saddle_or_a_point_without_curvature_is_left(start: tuple[float, float]) -> None:
    end = minimise(two_wells, np.array(start))
    assert end.converged
    np.testing.assert_allclose(np.abs(end.theta), [1, 0], atol=1e-4)


def test_a_place_where_the_function_does_not_exist_is_walked_around() -> None:
    def walled(theta: np.ndarray) -> Point:
        if theta[0] <= 0:
            return Point(np.inf, np.zeros(1), np.eye(1))
        x = theta[0]
        return Point(x - np.log(x), np.array([1 - 1 / x]), np.array([[1 / x**2]]))

    end = minimise(walled, np.array([40.0]))
    assert end.converged
    assert end.theta[0] == pytest.approx(1.0, abs=1e-4)


def test_a_walk_that_comes_where_one_has_ended_stops() -> None:
    assert minimise(two_wells, np.array([0.5, 1.0]), lambda theta: theta[0] > 0.9) is None
