"""Queue simulation: when does each job leave the bench, in many simulated years at once?

Work goes in two stages with a wait between them (cement and finish dry). A bench takes the ready
piece of work with the highest priority, the longest waiting first, and does not lay it aside. A
dried job goes before a new one, and a new one is begun only while fewer than `in_work_limit` are in
work. All simulated years step together: each step, one piece of work in every year. Time is any
unit, as long as all times have the same one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

__all__ = ["Queue", "Served", "serve"]

_BATCH = 64


@dataclass(frozen=True)
class Queue:
    """Jobs that come to the bench, every array of shape (years, jobs); a row is by arrival.

    arrival : when it can be begun; inf fills short years.
    first_work, second_work : time at the bench before and after the wait; a job may have no second.
    wait : time between the two.
    urgency : higher goes first; zeros = in order of arrival.
    """

    arrival: np.ndarray
    first_work: np.ndarray
    second_work: np.ndarray
    wait: np.ndarray
    urgency: np.ndarray


@dataclass(frozen=True)
class Served:
    """When each job was begun and done, shape (years, jobs), and time worked, shape (years,)."""

    begun: np.ndarray
    done: np.ndarray
    worked: np.ndarray


def serve(queue: Queue, benches: int = 1, in_work_limit: int = 0) -> Served:
    """Simulate the bench.

    Parameters
    ----------
    queue : Queue
    benches : int
        How many work side by side.
    in_work_limit : int
        Most jobs begun and not done at a time; 0 = no limit.

    Returns
    -------
    Served
        inf where there is no job.
    """
    years, jobs = queue.arrival.shape
    arrival = queue.arrival
    there = np.isfinite(arrival)
    ready = arrival.copy()  # when the next stage can start; inf when all is done
    stage = np.zeros((years, jobs), dtype=np.int8)
    begun = np.full((years, jobs), np.inf)
    done = np.full((years, jobs), np.inf)
    free = np.zeros((years, benches))
    worked = np.zeros(years)
    ending = np.full((years, max(in_work_limit, 1)), -np.inf)  # ends of what was begun
    each = np.arange(years)
    low, high = 0, min(_BATCH, jobs)
    pieces = int((there.sum(axis=1) + (there & (queue.second_work > 0)).sum(axis=1)).max(initial=0))
    for _ in range(pieces):
        low = _first_open(ready, low, jobs)
        bench = free.argmin(axis=1)
        now = free[each, bench]
        while True:
            part = slice(low, max(high, low + 1))
            able = _able(ready[:, part], stage[:, part], ending, in_work_limit)
            start = np.maximum(able.min(axis=1, initial=np.inf), now)
            # the window must hold every job that has come by the time the next piece begins
            if high >= jobs or (start <= arrival[:, high]).all():
                break
            high = min(high + _BATCH, jobs)
        choice = np.where(able <= start[:, None], _order(queue, stage, part), np.inf).argmin(axis=1)
        choice += low
        busy = np.isfinite(start)
        row, job, begin = each[busy], choice[busy], start[busy]
        first = stage[row, job] == 0
        work = np.where(first, queue.first_work[row, job], queue.second_work[row, job])
        end = begin + work
        begun[row[first], job[first]] = begin[first]
        more = first & (queue.second_work[row, job] > 0)
        ready[row, job] = np.where(more, end + queue.wait[row, job], np.inf)
        stage[row, job] += 1
        over = ~more
        done[row[over], job[over]] = end[over]
        if in_work_limit:
            slot = ending[row[over]].argmin(axis=1)
            ending[row[over], slot] = end[over]
        free[row, bench[busy]] = end
        worked[row] += work
    return Served(begun, done, worked)


def _order(queue: Queue, stage: np.ndarray, part: slice) -> np.ndarray:
    """Smaller goes first: dried work, then urgency, then order of arrival."""
    place = np.arange(part.stop - part.start, dtype=float)
    return np.asarray(place - 1e6 * queue.urgency[:, part] - 1e9 * (stage[:, part] == 1))


def _first_open(ready: np.ndarray, low: int, jobs: int) -> int:
    """First column with a job not done in any year."""
    while low + _BATCH < jobs and not np.isfinite(ready[:, low : low + _BATCH]).any():
        low += _BATCH
    return low


def _able(ready: np.ndarray, stage: np.ndarray, ending: np.ndarray, limit: int) -> np.ndarray:
    """When each job's next piece may begin; a new job also waits for a place in work."""
    if not limit:
        return ready
    drying = ((stage == 1) & np.isfinite(ready)).sum(axis=1)
    # of the jobs at other benches, at most limit - drying - 1 may still be in work
    last_first = -np.sort(-ending, axis=1)
    place = np.clip(limit - drying - 1, 0, limit - 1)
    held = np.where(drying >= limit, np.inf, last_first[np.arange(len(ready)), place])
    return np.where(stage == 0, np.maximum(ready, held[:, None]), ready)
