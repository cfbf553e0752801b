"""Queue simulation: when does each job leave the bench, in many simulated years at once?

Work goes in two steps with a wait between them (cement and finish dry). A piece of work needs a
bench that can do its kind, and its machine where it has one; it is not laid aside. Dried jobs go
before new ones, urgent before others, then the first come. A new job is begun only while fewer
than `in_work_limit` are in work. All simulated years step together: each step, one piece of work
in every year. Time is any unit, as long as all times have the same one.

New jobs of like kind and urgency stand in one line, so only the head of each line is looked at.
Jobs in work have a place each. So the time a step takes does not grow with the jobs that wait.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

__all__ = ["Places", "Queue", "Served", "serve"]

_FIRST_PLACES = 4
_DRIED_BEFORE = 1e9
Dry = Callable[[np.ndarray, np.ndarray], np.ndarray]


@dataclass(frozen=True)
class Queue:
    """Jobs that come to the bench, every array of shape (years, jobs); a row is by arrival.

    arrival : when it can be begun; inf fills short years.
    first_work, second_work : time at the bench before and after the wait; a job may have no second.
    wait : time between the two.
    urgency : higher goes first; zeros = in order of arrival.
    kind : which skills and machines it needs: a row of those of `Places`; None = one kind.
    begun : jobs whose first step is done already; they are in work and arrive dried. None = none.
    """

    arrival: np.ndarray
    first_work: np.ndarray
    second_work: np.ndarray
    wait: np.ndarray
    urgency: np.ndarray
    kind: np.ndarray | None = None
    begun: np.ndarray | None = None


@dataclass(frozen=True)
class Places:
    """Where work is done.

    skills : kinds each bench does, shape (benches, kinds); a bench that does fewer goes first.
    in_work_limit : most jobs begun and not done at a time; 0 = no limit.
    machine_of : machine of the first and second step of each kind, shape (kinds, 2); -1 = none.
    machines : how many there are of each machine.
    """

    skills: np.ndarray
    in_work_limit: int = 0
    machine_of: np.ndarray = field(default_factory=lambda: np.full((1, 2), -1))
    machines: tuple[int, ...] = ()

    @classmethod
    def alike(cls, benches: int, in_work_limit: int = 0) -> Places:
        """Benches that all do everything, without machines."""
        return cls(np.ones((benches, 1), bool), in_work_limit)


@dataclass(frozen=True)
class Served:
    """When each job was begun and done, shape (years, jobs), and time worked, shape (years,)."""

    begun: np.ndarray
    done: np.ndarray
    worked: np.ndarray


def serve(queue: Queue, places: Places, dry: Dry = np.add) -> Served:
    """Simulate the bench.

    Parameters
    ----------
    queue : Queue
    places : Places
    dry : function of two arrays
        When work that ends at a time has waited so long; the sum, unless the wait has another clock
        than the work.

    Returns
    -------
    Served
        inf where there is no job.
    """
    if not queue.arrival.size:
        none = queue.arrival.copy()
        return Served(none, none, np.zeros(len(none)))
    room = _Room(queue, places)
    there = np.isfinite(queue.arrival)
    second = there & (queue.second_work > 0)
    first = there if queue.begun is None else there & ~queue.begun
    for _ in range(int((first.sum(axis=1) + second.sum(axis=1)).max(initial=0))):
        if not room.step(dry):
            break
    return Served(room.begun, room.done, room.worked)


class _Room:
    """The bench in mid-simulation.

    Columns of `ready` and `key` are the heads of the lines, then the places of jobs in work. A
    place holds a job until it leaves: `leaves` is -inf when empty, inf until its last step begins.
    """

    def __init__(self, queue: Queue, places: Places) -> None:
        self.queue, self.places = queue, places
        years, jobs = queue.arrival.shape
        self.each = np.arange(years)
        shape = (years, jobs)
        self.kind = np.zeros(shape, np.int64) if queue.kind is None else queue.kind
        self.begun, self.done = np.full(shape, np.inf), np.full(shape, np.inf)
        self.worked = np.zeros(years)
        # benches of the same skills are a team; the teams that can do least stand first
        teams, team = np.unique(places.skills, axis=0, return_inverse=True)
        order = np.argsort(teams.sum(axis=1), kind="stable")
        self.teams, team = teams[order], np.argsort(order)[team]
        self.free = [np.zeros((years, n)) for n in np.bincount(team)]
        self.machines = [np.zeros((years, n)) for n in places.machines]
        self.alike = len(self.teams) == 1 and bool(self.teams.all())
        self.bare = self.alike and not self.machines
        self._line_up()
        self._take_in_begun()

    def _line_up(self) -> None:
        queue = self.queue
        waits = np.isfinite(queue.arrival)
        if queue.begun is not None:
            waits &= ~queue.begun
        level = np.unique(queue.urgency, return_inverse=True)[1]
        line = level.reshape(waits.shape) * self.places.skills.shape[1] + self.kind
        used, line = np.unique(line, return_inverse=True)
        self.lines = len(used)
        line = np.where(waits, line.reshape(waits.shape), self.lines)
        self.by_line = np.argsort(line, axis=1, kind="stable")
        counts = np.stack([(line == k).sum(axis=1) for k in range(self.lines)], axis=1)
        self.last = np.cumsum(counts, axis=1)
        self.head = self.last - counts
        self.ready = np.full((len(line), self.lines + _FIRST_PLACES), np.inf)
        self.key = np.zeros_like(self.ready)
        self.job = np.zeros(self.ready.shape, np.int64)
        self.leaves = np.full((len(line), _FIRST_PLACES), -np.inf)
        for k in range(self.lines):
            self._next_in_line(self.each, np.full(len(line), k))

    def _next_in_line(self, row: np.ndarray, line: np.ndarray) -> None:
        head = self.head[row, line]
        some = head < self.last[row, line]
        job = self.by_line[row, np.minimum(head, self.by_line.shape[1] - 1)]
        self.ready[row, line] = np.where(some, self.queue.arrival[row, job], np.inf)
        self.key[row, line] = job - 1e6 * self.queue.urgency[row, job]
        self.job[row, line] = job

    def _take_in_begun(self) -> None:
        begun = self.queue.begun
        most = 0 if begun is None else int(begun.sum(axis=1).max(initial=0))
        while self.leaves.shape[1] < max(most, self.places.in_work_limit):
            self._more_places()
        if begun is None or not most:
            return
        row, job = np.nonzero(begun)
        place = (np.cumsum(begun, axis=1) - 1)[row, job]
        self.begun[row, job] = 0.0
        self._lay_aside(row, place, job, self.queue.arrival[row, job])

    def _more_places(self) -> None:
        more = (len(self.each), self.leaves.shape[1])
        self.leaves = np.hstack([self.leaves, np.full(more, -np.inf)])
        self.ready = np.hstack([self.ready, np.full(more, np.inf)])
        self.key = np.hstack([self.key, np.zeros(more)])
        self.job = np.hstack([self.job, np.zeros(more, np.int64)])

    def _lay_aside(
        self, row: np.ndarray, place: np.ndarray, job: np.ndarray, ready: np.ndarray
    ) -> None:
        self.leaves[row, place] = np.inf
        self.ready[row, self.lines + place] = ready
        self.job[row, self.lines + place] = job
        key = job - 1e6 * self.queue.urgency[row, job] - _DRIED_BEFORE
        self.key[row, self.lines + place] = key

    def step(self, dry: Dry) -> bool:
        """Begin one piece of work in every year that has one; say whether any had."""
        able = self._able()
        start = able.min(axis=1)
        column = np.where(able <= start[:, None], self.key, np.inf).argmin(axis=1)
        busy = np.isfinite(start)
        if busy.all():
            row = self.each
        else:
            row, column, start = self.each[busy], column[busy], start[busy]
            if not len(row):
                return False
        job = self.job[row, column]
        new = column < self.lines
        queue = self.queue
        second = queue.second_work[row, job]
        work = np.where(new, queue.first_work[row, job], second)
        end = start + work
        self.worked[row] += work
        self._occupy(row, job, start, end, new)
        first, line, begun = row[new], column[new], job[new]
        self.begun[first, begun] = start[new]
        self.head[first, line] += 1
        self._next_in_line(first, line)
        place = column - self.lines
        place[new] = self._place_for(first, start[new])
        over = ~(new & (second > 0))
        self.done[row[over], job[over]] = end[over]
        self.ready[row[over], self.lines + place[over]] = np.inf
        self.leaves[row[over], place[over]] = end[over]
        dries = ~over
        if dries.any():
            row, job = row[dries], job[dries]
            self._lay_aside(row, place[dries], job, dry(end[dries], queue.wait[row, job]))
        return True

    def _able(self) -> np.ndarray:
        """When the head of each line and each job in work could go to a bench."""
        able = self.ready.copy()
        limit, places = self.places.in_work_limit, self.leaves.shape[1]
        if limit:
            over = places - limit
            held = np.partition(self.leaves, over, axis=1)[:, over : over + 1]
            np.maximum(able[:, : self.lines], held, out=able[:, : self.lines])
        if self.bare:
            np.maximum(able, self.free[0].min(axis=1)[:, None], out=able)
            return able
        kind = self.kind[self.each[:, None], self.job]
        team = np.stack([free.min(axis=1) for free in self.free], axis=1)
        of_kind = np.stack([team[:, can].min(axis=1) for can in self.teams.T], axis=1)
        np.maximum(able, np.take_along_axis(of_kind, kind, axis=1), out=able)
        if self.machines:
            idle = [np.full(len(able), -np.inf)] + [m.min(axis=1) for m in self.machines]
            stage = (np.arange(able.shape[1]) >= self.lines).astype(np.int64)
            machine = self.places.machine_of[kind, stage] + 1
            np.maximum(able, np.take_along_axis(np.stack(idle, 1), machine, axis=1), out=able)
        return able

    def _occupy(
        self, row: np.ndarray, job: np.ndarray, start: np.ndarray, end: np.ndarray, new: np.ndarray
    ) -> None:
        if self.bare:
            free = self.free[0]
            free[row, free[row].argmin(axis=1) if free.shape[1] > 1 else 0] = end
            return
        kind = self.kind[row, job]
        open_for = np.ones(len(row), bool)
        for can, free in zip(self.teams, self.free, strict=True):
            bench = free[row].argmin(axis=1)
            takes = open_for & can[kind] & (free[row, bench] <= start)
            free[row[takes], bench[takes]] = end[takes]
            open_for &= ~takes
        of_job = self.places.machine_of[kind, (~new).astype(np.int64)] if self.machines else None
        for k, idle in enumerate(self.machines):
            takes = of_job == k
            idle[row[takes], idle[row[takes]].argmin(axis=1)] = end[takes]

    def _place_for(self, row: np.ndarray, start: np.ndarray) -> np.ndarray:
        place = self.leaves[row].argmin(axis=1)
        if len(row) and (self.leaves[row, place] > start).any():
            self._more_places()
            place = self.leaves[row].argmin(axis=1)
        return np.asarray(place)
