"""Multi-start search.

From which points does the search for the best covariance start, and which end is kept?

The likelihood of a random line has false optima. Examples are a correlation of 1, or a slope or an
intercept that does not vary. A single start can stop there for good. So the search starts from the
interior at several scales and from next to each such boundary, and keeps the lowest deviance. Many
groups are searched on a sample first. Every optimum is then followed on larger samples up to all
groups: with more groups the surface only gets smoother.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from solespan.forecast.errors import FitFailed
from solespan.forecast.linear.likelihood import Deviance, Point, factor
from solespan.forecast.linear.newton import Minimum, minimise
from solespan.forecast.linear.rows import GroupSums

__all__ = ["best_covariance"]

Floats = npt.NDArray[np.float64]
GROUPS_SEARCHED = 512
GROWTH = 32  # each larger sample brings the optimum of the one before within a step or two
# Entries (1,1), (2,1), (2,2) of the factor in units of the residual SD: interior, then boundaries.
STARTS = np.array(
    [
        (1.0, 0.0, 1.0),
        (10.0, 0.0, 10.0),
        (1.0, 0.0, 0.0),
        (0.0, 0.0, 1.0),
        (1.0, 1.0, 0.0),
        (1.0, -1.0, 0.0),
        (0.0, 0.0, 0.0),
    ]
)
NEAR = 1e-4  # two optima of one likelihood this close have not been seen


def best_covariance(sums: GroupSums, free: tuple[int, ...], *, reml: bool) -> Minimum[Point]:
    """Minimise the deviance over the free entries of the factor from every start; keep the best.

    Raises
    ------
    FitFailed
        No start has a finite deviance: the fixed effects fit without any residual.
    """
    starts = list(np.unique(STARTS[:, list(free)], axis=0))
    step = max(1, sums.n_groups // GROUPS_SEARCHED)
    while True:
        deviance = Deviance(sums.every(step) if step > 1 else sums, free, reml=reml)
        ends = _descend(deviance, starts, free)
        if step == 1:
            return min(ends, key=lambda end: end.point.value)
        starts = [end.theta for end in ends]
        step = max(1, step // GROWTH)


def _descend(
    function: Callable[[Floats], Point], starts: list[Floats], free: tuple[int, ...]
) -> list[Minimum[Point]]:
    """Search from each of `starts` and keep the ends that differ."""
    ends: list[Minimum[Point]] = []

    def known(theta: Floats) -> bool:
        return any(_near(theta, end.theta, free) for end in ends)

    for start in starts:
        end = minimise(function, start, known)
        if end is not None and np.isfinite(end.point.value):
            ends.append(end)
    if not ends:
        raise FitFailed(
            "the fixed effects fit the response without residual, so no variance can be estimated; "
            "take out a column of exog or add rows"
        )
    return ends


def _near(one: Floats, other: Floats, free: tuple[int, ...]) -> bool:
    """Whether two factors stand for nearly the same covariance."""
    lower, known = factor(one, free), factor(other, free)
    covariance = known @ known.T
    return bool(np.abs(lower @ lower.T - covariance).max() <= NEAR * (1 + covariance.max()))
