"""Bench rules.

What does each bench do, which machines are shared, what dries how long, and when is the post?

Every default is common practice without a source, as the standards are.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from solespan.forecast.bench.queue import Places
from solespan.forecast.bench.standards import AFTER_DRYING_SHARE, IN_WORK_PER_BENCH, STANDARDS
from solespan.forecast.errors import BadHorizon
from solespan.forecast.frames import WORKS
from solespan.forecast.workload.summary import WorkTimes

__all__ = ["STEPS", "BenchRules", "Machine", "WaitingJobs"]

STEPS = ("before_drying", "after_drying")
Step = Literal["before_drying", "after_drying"]


@dataclass(frozen=True)
class Machine:
    """A machine that the benches share: how many, and which works need it in which steps.

    One is taken for the whole of a step.
    """

    works: tuple[str, ...]
    steps: tuple[Step, ...] = ("after_drying",)
    count: int = 1


@dataclass(frozen=True)
class BenchRules:
    """How work goes through the shop.

    in_work_limit : most jobs begun and not done at a time; 0 = no limit, None = so many for each
        bench as the standards say.
    urgent_first : whether jobs that came in past their limit go before the others.
    drying_hours : hours of the calendar between the two steps, by work; others as the standards.
    skills : works that each bench does, in order; a bench beyond them does everything.
    machines : what the benches share. A work needs at most one machine in each step.
    post_weekdays : days on which parcels come and leave, Monday first; they need an open shop.
    post_share : share of the jobs that come and leave by post.
    """

    in_work_limit: int | None = None
    urgent_first: bool = False
    drying_hours: Mapping[str, float] = field(default_factory=dict)
    skills: tuple[tuple[str, ...], ...] = ()
    machines: tuple[Machine, ...] = ()
    post_weekdays: tuple[bool, ...] = (True, True, True, True, True, False, False)
    post_share: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what cannot be meant."""
        if not 0.0 <= self.post_share <= 1.0 or len(self.post_weekdays) != 7:
            raise BadHorizon("post: a share from 0 to 1 and seven days are accepted")
        if self.post_share and not any(self.post_weekdays):
            raise BadHorizon("post_weekdays: jobs by post need a day on which they come")
        taken: set[tuple[str, str]] = set()
        for machine in self.machines:
            uses = {(work, step) for work in machine.works for step in machine.steps}
            if machine.count < 1 or uses & taken:
                raise BadHorizon("machines: a work has one machine in a step, and it is there")
            taken |= uses

    def places(self, benches: int) -> Places:
        """Return benches and machines by kind of work, in the order of `WORKS`.

        Raises `BadHorizon` where no bench does a work.
        """
        skills = np.ones((benches, len(WORKS)), bool)
        for bench, can in zip(skills, self.skills, strict=False):
            bench[:] = [work in can for work in WORKS]
        if not skills.any(axis=0).all():
            lacking = ", ".join(np.array(WORKS)[~skills.any(axis=0)])
            raise BadHorizon(f"skills: no bench does {lacking}")
        of = np.full((len(WORKS), len(STEPS)), -1)
        for k, machine in enumerate(self.machines):
            for work in machine.works:
                for step in machine.steps:
                    of[WORKS.index(work), STEPS.index(step)] = k
        limit = IN_WORK_PER_BENCH * benches if self.in_work_limit is None else self.in_work_limit
        return Places(skills, limit, of, tuple(m.count for m in self.machines))

    def drying(self) -> np.ndarray:
        """Return hours of drying by kind of work, in the order of `WORKS`."""
        given = self.drying_hours
        return np.array([given.get(w, STANDARDS[w].drying_hours) for w in WORKS], dtype=float)


@dataclass(frozen=True)
class WaitingJobs:
    """Jobs at the shop already, in the order in which they go: places in `WORKS`.

    begun : whether the first step is done, so that only what follows drying is left.
    dry_at_hour : when a begun job has dried, hours after the end of as_of; the past is 0.
    load : minutes of all works of a job over those of its main work; None = main works only.
    """

    work: np.ndarray
    begun: np.ndarray
    dry_at_hour: np.ndarray
    load: np.ndarray | None = None

    @classmethod
    def none(cls) -> WaitingJobs:
        """Nothing waits."""
        return cls(np.zeros(0, np.int64), np.zeros(0, bool), np.zeros(0))

    @classmethod
    def since(
        cls,
        works: Sequence[str],
        begun_days_ago: Sequence[int | None],
        drying: np.ndarray,
        closes_at_hour: float,
        load: Sequence[float] | None = None,
    ) -> WaitingJobs:
        """Describe jobs by the day they were begun on; None = not begun, 0 = today.

        The first step is taken to end when the shop closes on that day.
        """
        work = np.array([WORKS.index(name) for name in works], dtype=np.int64)
        begun = np.array([days is not None for days in begun_days_ago], dtype=bool)
        days_ago = np.array([days or 0 for days in begun_days_ago], dtype=float)
        dry_at = drying[work] + closes_at_hour - 24.0 * (1.0 + days_ago)
        loads = None if load is None else np.array(load, dtype=float)
        return cls(work, begun, np.maximum(dry_at, 0.0), loads)

    @property
    def loads(self) -> np.ndarray:
        """Factor on the minutes of each job's main work."""
        return np.ones(len(self.work)) if self.load is None else self.load

    def minutes_left(self, times: WorkTimes) -> float:
        """Return the hands-on minutes that are left to do, in the mean."""
        left = np.where(self.begun, AFTER_DRYING_SHARE, 1.0) * self.loads
        return float((times.minutes[self.work] * left).sum())
