"""A second bench, written with SimPy: hours of the calendar pass, doors open and close.

It shares no arithmetic with the bench of the forecast: a bench works while its door is open, walks
away at closing time, and comes back; cement dries by the clock on the wall.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import simpy


@dataclass
class EventJob:
    """One job: when it comes (h), minutes of its two steps, hours of drying, and what it needs."""

    comes: float
    minutes: tuple[float, float]
    dries: float
    kind: int = 0
    urgency: float = 0.0
    place: int = 0
    stage: int = 0
    begun: float = np.inf
    done: float = np.inf


@dataclass
class EventShop:
    """Opening and closing hour of each day, skills of each bench, machines, and the limit."""

    opens: np.ndarray
    closes: np.ndarray
    skills: np.ndarray
    limit: int = 0
    machine_of: dict[tuple[int, int], int] = field(default_factory=dict)
    machines: tuple[int, ...] = ()

    def run(self, jobs: list[EventJob]) -> None:
        """Fill in when each job is begun and done."""
        self.env = simpy.Environment()
        self.ready: list[EventJob] = []
        self.in_work = 0
        order = np.argsort(self.skills.sum(axis=1), kind="stable")
        self.idle = [int(bench) for bench in order]
        self.order = {bench: n for n, bench in enumerate(self.idle)}
        self.left = list(self.machines)
        for job in jobs:
            self.env.process(self._comes(job))
        self.env.process(self._doors())
        self.env.run(until=24.0 * len(self.opens))

    def _comes(self, job: EventJob):
        yield self.env.timeout(job.comes)
        self.ready.append(job)
        yield from self._settled()

    def _doors(self):
        for opens in self.opens[self.closes > self.opens]:
            yield self.env.timeout(opens - self.env.now)
            yield from self._settled()

    def _settled(self):
        """Hand out work after all else that happens at this instant."""
        yield self.env.timeout(0.0)
        yield self.env.timeout(0.0)
        self._hand_out()

    def _is_open(self) -> bool:
        day = int(self.env.now // 24)
        return bool(self.opens[day] <= self.env.now < self.closes[day])

    def _hand_out(self) -> None:
        if not self._is_open():
            return
        for job in sorted(self.ready, key=lambda j: (-j.stage, -j.urgency, j.place)):
            if job.stage == 0 and self.limit and self.in_work >= self.limit:
                continue
            machine = self.machine_of.get((job.kind, job.stage))
            if machine is not None and not self.left[machine]:
                continue
            able = [bench for bench in self.idle if self.skills[bench, job.kind]]
            if not able:
                continue
            bench = min(able, key=self.order.__getitem__)
            self.idle.remove(bench)
            self.ready.remove(job)
            if machine is not None:
                self.left[machine] -= 1
            if job.stage == 0:
                self.in_work += 1
                job.begun = self.env.now
            self.env.process(self._works(job, bench, machine))

    def _works(self, job: EventJob, bench: int, machine: int | None):
        hours = job.minutes[job.stage] / 60.0
        while hours > 1e-9:
            day = int(self.env.now // 24)
            if not self.opens[day] <= self.env.now < self.closes[day]:
                later = self.opens[day:][(self.closes > self.opens)[day:]]
                yield self.env.timeout(later[later > self.env.now][0] - self.env.now)
                continue
            today = min(hours, self.closes[day] - self.env.now)
            yield self.env.timeout(today)
            hours -= today
        self.idle.append(bench)
        if machine is not None:
            self.left[machine] += 1
        last = job.stage == 1 or not job.minutes[1]
        job.stage += 1
        if last:
            self.in_work -= 1
            job.done = self.env.now
        else:
            self.env.process(self._dries(job))
        yield from self._settled()

    def _dries(self, job: EventJob):
        yield self.env.timeout(job.dries)
        self.ready.append(job)
        yield from self._settled()
