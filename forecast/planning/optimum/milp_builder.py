"""Integer programme builder.

How are the rows of an integer programme gathered, and how is it solved?
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array

__all__ = ["MOST_NODES", "LinearProgram", "Solved"]

MOST_NODES = 2000

_LIMIT_REACHED = 1


@dataclass(frozen=True)
class Solved:
    """An answer of the solver: values, objective reached, and the bound no answer can pass."""

    values: np.ndarray
    value: float
    bound: float
    proven: bool


class LinearProgram:
    """A maximisation over whole or continuous variables, built row by row."""

    def __init__(self) -> None:
        self._gain: list[float] = []
        self._high: list[float] = []
        self._whole: list[int] = []
        self._at: list[tuple[list[int], list[float]]] = []
        self._least: list[float] = []
        self._most: list[float] = []

    def variable(self, gain: float = 0.0, high: float = 1.0, *, whole: bool = True) -> int:
        """Add a variable from 0 to `high` and return its number."""
        self._gain.append(gain)
        self._high.append(high)
        self._whole.append(int(whole))
        return len(self._gain) - 1

    def row(
        self,
        terms: Iterable[tuple[int, float]],
        *,
        least: float = -np.inf,
        most: float = np.inf,
    ) -> None:
        """Add `least <= sum of coefficient x variable <= most`."""
        pairs = list(terms)
        self._at.append(([v for v, _ in pairs], [c for _, c in pairs]))
        self._least.append(least)
        self._most.append(most)

    def forbid(self, variable: int) -> None:
        """Hold a variable at zero."""
        self._high[variable] = 0.0

    def solve(
        self, *, gains: np.ndarray | None = None, gap: float = 0.0, nodes: int = MOST_NODES
    ) -> Solved | None:
        """Maximise with HiGHS; None when no answer was found within the nodes given.

        The search ends after so many nodes, never after a time: the same question has the same
        answer on every machine.

        Parameters
        ----------
        gains : ndarray, optional
            Gains in the place of the variables' own.
        gap : float
            Relative distance to the bound at which the search may end.
        nodes : int
            Nodes of the search tree.
        """
        gain = np.array(self._gain if gains is None else gains)
        counts = [len(columns) for columns, _ in self._at]
        matrix = csr_array(
            (
                np.concatenate([np.array(c, float) for _, c in self._at]),
                np.concatenate([np.array(v, int) for v, _ in self._at]),
                np.concatenate([[0], np.cumsum(counts)]),
            ),
            shape=(len(counts), len(gain)),
        )
        found = milp(
            -gain,
            integrality=np.array(self._whole),
            bounds=Bounds(np.zeros(len(gain)), np.array(self._high)),
            constraints=LinearConstraint(matrix, np.array(self._least), np.array(self._most)),
            options={"node_limit": nodes, "mip_rel_gap": gap},
        )
        if found.x is None:
            return None
        bound = -found.fun if found.mip_dual_bound is None else -found.mip_dual_bound
        if not np.isfinite(bound):
            # the search ended before there was a bound: no answer gains more than everything
            gained = gain > 0
            bound = float(gain[gained] @ np.array(self._high)[gained])
        return Solved(
            np.asarray(found.x), float(-found.fun), float(bound), found.status != _LIMIT_REACHED
        )

    @property
    def size(self) -> int:
        """Number of variables."""
        return len(self._gain)
