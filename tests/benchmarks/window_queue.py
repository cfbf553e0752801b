"""The queue as it was: each step looks at every job that waits, in a window that grows with them.

A base to measure the queue against. It knows one kind of work, no machine, and one clock.
"""

from __future__ import annotations

import numpy as np

from solespan.forecast.bench.queue import Queue, Served

_BATCH = 64


def serve(queue: Queue, benches: int = 1, in_work_limit: int = 0) -> Served:
    """Simulate the bench."""
    years, jobs = queue.arrival.shape
    arrival = queue.arrival
    there = np.isfinite(arrival)
    ready = arrival.copy()
    stage = np.zeros((years, jobs), dtype=np.int8)
    begun = np.full((years, jobs), np.inf)
    done = np.full((years, jobs), np.inf)
    free = np.zeros((years, benches))
    worked = np.zeros(years)
    ending = np.full((years, max(in_work_limit, 1)), -np.inf)
    each = np.arange(years)
    low, high = 0, min(_BATCH, jobs)
    pieces = int((there.sum(axis=1) + (there & (queue.second_work > 0)).sum(axis=1)).max(initial=0))
    for _ in range(pieces):
        while low + _BATCH < jobs and not np.isfinite(ready[:, low : low + _BATCH]).any():
            low += _BATCH
        bench = free.argmin(axis=1)
        now = free[each, bench]
        while True:
            part = slice(low, max(high, low + 1))
            able = _able(ready[:, part], stage[:, part], ending, in_work_limit)
            start = np.maximum(able.min(axis=1, initial=np.inf), now)
            if high >= jobs or (start <= arrival[:, high]).all():
                break
            high = min(high + _BATCH, jobs)
        place = np.arange(part.stop - part.start, dtype=float)
        order = place - 1e6 * queue.urgency[:, part] - 1e9 * (stage[:, part] == 1)
        choice = np.where(able <= start[:, None], order, np.inf).argmin(axis=1) + low
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
            ending[row[over], ending[row[over]].argmin(axis=1)] = end[over]
        free[row, bench[busy]] = end
        worked[row] += work
    return Served(begun, done, worked)


def _able(ready: np.ndarray, stage: np.ndarray, ending: np.ndarray, limit: int) -> np.ndarray:
    if not limit:
        return ready
    drying = ((stage == 1) & np.isfinite(ready)).sum(axis=1)
    last_first = -np.sort(-ending, axis=1)
    place = np.clip(limit - drying - 1, 0, limit - 1)
    held = np.where(drying >= limit, np.inf, last_first[np.arange(len(ready)), place])
    return np.where(stage == 0, np.maximum(ready, held[:, None]), ready)
