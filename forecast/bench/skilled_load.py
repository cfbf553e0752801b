"""Skilled load (maximum flow): can every promise be kept where each bench does only some works?

Minutes of work flow to days of the benches that do it. All promises can be kept if and only if the
greatest flow carries all minutes. The source, cited from memory, is Ford and Fulkerson, Maximal
flow through a network, 1956. Benches with the same skills count as one.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

import numpy as np

__all__ = ["SkilledLoad", "benches_for"]

_PARTS_OF_MINUTE = 10  # the flow counts in whole numbers; work is rounded up, open time down
_ROUNDING = 1e-6
Part = tuple[float, int, int]


def benches_for(works: Sequence[int], skills: np.ndarray) -> tuple[int, ...]:
    """Return the groups of benches that do every work of a visit, else those of its main work.

    Parameters
    ----------
    works : sequence of int
        Kinds of work, the main one first.
    skills : ndarray
        Whether a group does a kind, shape (groups, kinds).
    """
    able = skills[:, list(works)].all(axis=1)
    if not able.any():
        able = skills[:, works[0]]
    return tuple(int(group) for group in np.flatnonzero(able))


class SkilledLoad:
    """Work by the days and the groups of benches between which it must be done.

    Parameters
    ----------
    open_minutes : ndarray
        Minutes of each group of benches on each day, shape (groups, days).
    parts : iterable of (groups, parts)
        The groups that do a piece of work, and its steps: minutes, first and last day.
    """

    def __init__(
        self, open_minutes: np.ndarray, parts: Iterable[tuple[tuple[int, ...], list[Part]]]
    ) -> None:
        tenths = np.floor(np.asarray(open_minutes, float) * _PARTS_OF_MINUTE + _ROUNDING)
        self._open = tenths.astype(np.int32)
        self._work: Counter[tuple[tuple[int, ...], int, int]] = Counter()
        for groups, steps in parts:
            self._add(self._work, groups, steps)
        self._carried = self._flow(self._work)

    def fits(self, groups: tuple[int, ...], steps: list[Part]) -> bool:
        """Whether one more piece of work makes no other later, and is done in time."""
        work = self._work.copy()
        self._add(work, groups, steps)
        more = sum(work.values()) - sum(self._work.values())
        return self._flow(work) - self._carried == more

    @staticmethod
    def _add(
        work: Counter[tuple[tuple[int, ...], int, int]], groups: tuple[int, ...], steps: list[Part]
    ) -> None:
        for minutes, first, last in steps:
            tenths = int(np.ceil(minutes * _PARTS_OF_MINUTE - _ROUNDING))
            work[groups, first, last] += tenths

    def _flow(self, work: Counter[tuple[tuple[int, ...], int, int]]) -> int:
        """Return how many tenths of a minute can be done in time."""
        from scipy.sparse import coo_array  # noqa: PLC0415 - slow to load, and few shops need it
        from scipy.sparse.csgraph import maximum_flow  # noqa: PLC0415

        if not work:
            return 0
        groups, days = self._open.shape
        source, sink, slots = 0, 1, 2
        begin, end, room = [], [], []
        for number, ((able, first, last), tenths) in enumerate(work.items()):
            node = slots + groups * days + number
            begin.append(source)
            end.append(node)
            room.append(tenths)
            for group in able:
                span = np.arange(first, last + 1)
                begin += [node] * len(span)
                end += (slots + group * days + span).tolist()
                room += [tenths] * len(span)
        begin += range(slots, slots + groups * days)
        end += [sink] * (groups * days)
        room += self._open.ravel().tolist()
        size = slots + groups * days + len(work)
        graph = coo_array((np.array(room, np.int32), (begin, end)), shape=(size, size)).tocsr()
        return int(maximum_flow(graph, source, sink).flow_value)
