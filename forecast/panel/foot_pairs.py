"""Foot pairs: which left and right paths belong to one sole and point?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from solespan.forecast.panel.panel import Panel

__all__ = ["FootPairs", "foot_pairs"]


@dataclass(frozen=True)
class FootPairs:
    """Left and right path of each sole and point: indices into the panel's paths."""

    left: np.ndarray
    right: np.ndarray

    @property
    def both(self) -> np.ndarray:
        """Left and right, shape (2, groups)."""
        return np.array([self.left, self.right])

    def part(self, groups: slice | np.ndarray) -> FootPairs:
        """Some of the groups."""
        return FootPairs(self.left[groups], self.right[groups])


def foot_pairs(panel: Panel, *, current_only: bool = True, ball_only: bool = False) -> FootPairs:
    """Match the left and right paths of every sole and point."""
    key = panel.path_sole * 4 + panel.path_point
    order = np.lexsort((panel.path_foot, key))
    feet = FootPairs(order[0::2], order[1::2])
    keep = panel.current[feet.left] | (not current_only)
    if ball_only:
        keep &= panel.path_point[feet.left] == 0
    return feet if keep.all() else feet.part(keep)
