"""Aims of a plan: how much does each matter to the owner, and what is each worth in the score?

Each aim has a level from 0 to 4: 0 = it does not matter, 2 = usual, 4 = it matters most. The worth
of a level is in wears: what a plan may move to serve it.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

from solespan.forecast.planning.errors import BadPlan

__all__ = ["AIMS", "LEVELS", "Aims"]

LEVELS = range(5)
AIMS = ("even", "spread", "cost", "occasions", "best")
_EVEN = (0.02, 0.25, 0.5, 1.0, 2.0)  # a wear within a pair's share
_SPREAD = (0.0, 15.0, 30.0, 60.0, 90.0)  # the second sole in one quarter
_COST = (2.0, 10.0, 20.0, 40.0, 80.0)  # one sole
_OCCASIONS = (5.0, 50.0, 100.0, 200.0, 400.0)  # a pair that is missing on its day
_BEST = (0.0, 0.5, 1.0, 1.5, 2.0)  # power of a pair's preference


@dataclass(frozen=True)
class Aims:
    """What a plan aims at, each from 0 to 4.

    even : each pair is worn as often as its share says.
    spread : few soles fall into one quarter.
    cost : few soles, and none with much left on it.
    occasions : a reserved pair is there on its day.
    best : preferences count: who is kept for best is worn seldom.
    """

    even: int = 2
    spread: int = 2
    cost: int = 2
    occasions: int = 2
    best: int = 2

    def __post_init__(self) -> None:
        """Refuse a level that is none, naming the field."""
        for one in fields(self):
            level = getattr(self, one.name)
            if level not in LEVELS:
                raise BadPlan(
                    f"aims {one.name}: {level!r} cannot be used.",
                    field=f"aims.{one.name}",
                    accepted="0 to 4",
                )

    @property
    def share_gain(self) -> float:
        """Worth of a wear within a pair's share."""
        return _EVEN[self.even]

    @property
    def quarter_cost(self) -> float:
        """Cost of the second sole in one quarter; the third costs twice that, and so on."""
        return _SPREAD[self.spread]

    @property
    def sole_cost(self) -> float:
        """Cost of a new sole; what is left of it at the end is worth its part of that."""
        return _COST[self.cost]

    @property
    def missed_cost(self) -> float:
        """Cost of a reserved pair that is not there on its day."""
        return _OCCASIONS[self.occasions]

    @property
    def preference_power(self) -> float:
        """Power to which a pair's preference is raised."""
        return _BEST[self.best]
