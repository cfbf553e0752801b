"""Trust-region Newton method.

Where is the nearest minimum of a smooth function of a few numbers whose Hessian is known?

Steps are taken in the eigenvectors of the Hessian. Along negative curvature the step goes downhill
as if the curvature were positive. Where the gradient vanishes but the curvature is negative, the
step has the length of the radius. So it cannot rest on a saddle, which is what a variance of zero
is whenever the data want it positive.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Generic, Protocol, TypeVar

import numpy as np
import numpy.typing as npt

__all__ = ["Minimum", "minimise"]

Floats = npt.NDArray[np.float64]
TOLERANCE = 1e-9  # decrease that the next step still promises, in units of the function
ROUNDING = 1e-13  # the same as a share of the function: below this it is noise
FLAT = 1e-9  # a curvature this small beside the largest is none
MAX_STEPS = 100


class Curved(Protocol):
    """A value with its gradient (q,) and Hessian (q, q)."""

    @property
    def value(self) -> float: ...
    @property
    def gradient(self) -> Floats: ...
    @property
    def hessian(self) -> Floats: ...


P = TypeVar("P", bound=Curved)


@dataclass(frozen=True)
class Minimum(Generic[P]):
    """Where the search ended, the function there, and whether no step promises anything more."""

    theta: Floats
    point: P
    converged: bool
    evaluations: int


def minimise(
    function: Callable[[Floats], P],
    start: Floats,
    known: Callable[[Floats], bool] = lambda _theta: False,
) -> Minimum[P] | None:
    """Walk downhill from `start` (q,) to a point where gradient and curvature say minimum.

    None as soon as the walk comes where `known` says that an earlier one has ended.
    A value of infinity marks a point that cannot be; the search then steps shorter. `start` itself
    must have a finite value.
    """
    theta, point = start, function(start)
    radius = 0.5 * max(1.0, float(np.linalg.norm(theta)))
    for evaluation in range(1, MAX_STEPS):
        step, promise = _step(point, radius)
        enough = max(TOLERANCE, ROUNDING * abs(point.value))
        if promise < enough:
            return Minimum(theta, point, converged=True, evaluations=evaluation)
        trial = function(theta + step)
        gain = point.value - trial.value
        length = float(np.linalg.norm(step))
        if gain > 0.75 * promise:
            radius = max(radius, 2.5 * length)
        elif not gain > 0.25 * promise:
            radius = 0.25 * length
        if gain > 0:
            theta, point = theta + step, trial
            if known(theta):
                return None
        elif length < 1e-9 * (1.0 + float(np.linalg.norm(theta))):
            break
    return Minimum(theta, point, converged=False, evaluations=evaluation + 1)


def _step(point: Curved, radius: float) -> tuple[Floats, float]:
    """Find the step within the radius, and what decrease the quadratic model promises for it."""
    curvature, axes = np.linalg.eigh(point.hessian)
    largest = float(np.abs(curvature).max())
    slope = axes.T @ point.gradient
    enough = np.maximum(FLAT * largest, np.abs(slope) / radius)  # no entry beyond the radius
    step = -slope / np.maximum(np.maximum(np.abs(curvature), enough), np.finfo(float).tiny)
    length = float(np.linalg.norm(step))
    if length > radius:
        step *= radius / length
    leave = curvature < -FLAT * largest
    if leave.any():
        away = np.where(slope > 0, -1.0, 1.0) * 0.5 * radius
        step = np.where(leave & (np.abs(step) < np.abs(away)), away, step)
    promise = -float(slope @ step + 0.5 * curvature @ (step * step))
    return axes @ step, promise
