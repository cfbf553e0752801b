"""Free days (feasibility of a schedule with release days and due days).

On which days can one more pair come, so that every promise can still be kept?

All benches count as one, and work can be laid aside at the end of a day. Some work must lie inside
a span of days. All promises can be kept if and only if that work fits the open minutes of every
span. The source, cited from memory, is Horn, Some simple scheduling algorithms, 1974. Where benches
differ in what they do, `SkilledLoad` looks at them one by one. Shared machines are left to the
simulation of the year.

Work that dries counts as two tasks. The first ends so early that it can dry before the due day. The
second begins so late that the first can have dried. Drying for up to `SAME_DAY_HOURS` takes no
extra day (common practice, no source).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from solespan.forecast.bench.skilled_load import SkilledLoad
from solespan.forecast.bench.standards import AFTER_DRYING_SHARE

__all__ = ["BenchLoad", "Task", "drying_days"]

SAME_DAY_HOURS = 3.0
_CLOSE_ENOUGH_MINUTES = 1e-6


def drying_days(drying_hours: float) -> int:
    """Return how many days work must lie for so many hours of drying."""
    return 0 if drying_hours <= SAME_DAY_HOURS else math.ceil(drying_hours / 24.0)


@dataclass(frozen=True)
class Task:
    """Work of one pair.

    minutes : hands-on minutes.
    first_day : day on which the pair is there, counted from today = 0.
    last_day : day by whose end it is done.
    drying_days : days that it dries between its two steps; 0 = it is one step.
    groups : groups of benches that do it; empty = all benches.
    """

    minutes: float
    first_day: int
    last_day: int
    drying_days: int = 0
    groups: tuple[int, ...] = ()

    @property
    def possible(self) -> bool:
        """Whether an empty bench without closed days could keep the due day."""
        return 0 <= self.first_day <= self.last_day - self.drying_days


class BenchLoad:
    """Work on the bench by the days between which it must be done.

    Parameters
    ----------
    open_minutes : ndarray
        Minutes of all benches together on each day from today, shape (days,).
    tasks : sequence of Task
        What is promised. A due day that is past, or too early, counts as the first possible one.
        A due day after the last day of `open_minutes` counts as that day.
    by_group : ndarray, optional
        Minutes of each group of benches with the same skills, shape (groups, days), where they
        differ.
    """

    def __init__(
        self,
        open_minutes: np.ndarray,
        tasks: Sequence[Task],
        by_group: np.ndarray | None = None,
    ) -> None:
        self.open_minutes = np.asarray(open_minutes, float)
        days = len(self.open_minutes)
        inside = np.zeros((days, days))
        clipped = [_clipped(task, days) for task in tasks]
        for task in clipped:
            for minutes, first, last in _parts(task):
                inside[first, last] += minutes
        # minutes that must lie within each span: begun no earlier, ended no later
        due = np.cumsum(np.cumsum(inside[::-1], axis=0)[::-1], axis=1)
        before = np.concatenate([[0.0], np.cumsum(self.open_minutes)])
        slack = before[None, 1:] - before[:-1, None] - due
        slack[np.tri(days, k=-1, dtype=bool)] = np.inf
        # the least slack of all spans that hold a given one
        held = np.minimum.accumulate(slack, axis=0)
        self._slack = np.minimum.accumulate(held[:, ::-1], axis=1)[:, ::-1]

        self._groups = () if by_group is None else tuple(range(len(by_group)))
        self._skilled: SkilledLoad | None = None
        if by_group is not None:
            parts = [(task.groups or self._groups, list(_parts(task))) for task in clipped]
            self._skilled = SkilledLoad(by_group, parts)

    @property
    def days(self) -> int:
        """How many days are looked at."""
        return len(self.open_minutes)

    def fits(self, task: Task) -> bool:
        """Whether every promise holds with one more task."""
        if not task.possible:
            return False
        task = _clipped(task, self.days)
        parts = list(_parts(task))
        whole = (sum(part[0] for part in parts), task.first_day, task.last_day)
        room = all(
            self._slack[first, last] >= minutes - _CLOSE_ENOUGH_MINUTES
            for minutes, first, last in (*parts, whole)
        )
        if not room or self._skilled is None:
            return room
        return self._skilled.fits(task.groups or self._groups, parts)

    def free_days(
        self,
        minutes: float,
        drying: int,
        turnaround_days: int,
        first_day: int = 0,
        groups: tuple[int, ...] = (),
    ) -> Iterator[int]:
        """Yield the open days on which a pair can come to be done within `turnaround_days`."""
        for day in range(first_day, self.days - turnaround_days):
            task = Task(minutes, day, day + turnaround_days, drying, groups)
            if self.open_minutes[day] > 0 and self.fits(task):
                yield day

    def first_promise(
        self, minutes: float, drying: int, first_day: int, groups: tuple[int, ...] = ()
    ) -> int | None:
        """Return the first open day by which a pair that comes on a day can be done, or None."""
        for day in range(first_day + drying, self.days):
            task = Task(minutes, first_day, day, drying, groups)
            if self.open_minutes[day] > 0 and self.fits(task):
                return day
        return None


def _clipped(task: Task, days: int) -> Task:
    """Put a task within the days that are looked at, and its due day where it is possible."""
    first = min(max(task.first_day, 0), days - 1)
    last = min(max(task.last_day, first), days - 1)
    dries = task.drying_days if first + task.drying_days <= last else 0
    return Task(task.minutes, first, last, dries, task.groups)


def _parts(task: Task) -> Iterator[tuple[float, int, int]]:
    """Yield minutes, first and last day of each step."""
    dries = task.drying_days
    if not dries:
        yield task.minutes, task.first_day, task.last_day
        return
    yield task.minutes * (1.0 - AFTER_DRYING_SHARE), task.first_day, task.last_day - dries
    yield task.minutes * AFTER_DRYING_SHARE, task.first_day + dries, task.last_day
