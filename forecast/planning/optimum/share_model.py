"""Variables of the sharing programme.

Which variable of the programme that shares wear out means what?
"""

from __future__ import annotations

from dataclasses import dataclass, field

from solespan.forecast.planning.optimum.milp_builder import LinearProgram
from solespan.forecast.planning.rack import DAYS_PER_WEEK, Rack

__all__ = ["ShareModel"]

WHOLE_WEARS = 500


@dataclass
class ShareModel:
    """The programme being built, and which variable means what.

    `sent[p, w]` counts the sends of a pair up to week w. `worn[p, w]` counts its wears up to the
    end of week w. `rest[p]` is what is left after the last day. Running sums keep the rows short.
    """

    rack: Rack
    step: int
    programme: LinearProgram = field(default_factory=LinearProgram)
    wear: dict[tuple[int, int, int], int] = field(default_factory=dict)
    by_period: dict[tuple[int, int], list[int]] = field(default_factory=dict)
    send: dict[tuple[int, int], int] = field(default_factory=dict)
    sent: dict[tuple[int, int], int] = field(default_factory=dict)
    worn: dict[tuple[int, int], int] = field(default_factory=dict)
    rest: dict[int, int] = field(default_factory=dict)
    wishes: list[int] = field(default_factory=list)
    promised: dict[int, int] = field(default_factory=dict)

    @property
    def weeks(self) -> int:
        """Weeks ahead."""
        return self.rack.days // DAYS_PER_WEEK

    @property
    def periods(self) -> int:
        """Periods ahead."""
        return self.rack.days // self.step

    @property
    def whole(self) -> bool:
        """Whether wears are whole; for many pairs by weeks, parts of a wear change little."""
        return self.step == 1 or len(self.rack.states) * self.weeks <= WHOLE_WEARS

    def week_of(self, period: int) -> int:
        """Week in which a period lies."""
        return period * self.step // DAYS_PER_WEEK

    def wears(self, pair: int, first: int, end: int) -> list[tuple[int, float]]:
        """Terms of the wears of a pair in the periods first to end - 1."""
        return [(v, 1.0) for t in range(first, end) for v in self.by_period.get((pair, t), ())]

    def away(self, pair: int, week: int, weight: float = 1.0) -> list[tuple[int, float]]:
        """Terms of "the pair is away in that week": sent by then, but not a lead time before."""
        terms = [(self.sent[pair, week], weight)]
        before = week - int(self.rack.lead[pair])
        return terms if before < 0 else [*terms, (self.sent[pair, before], -weight)]
