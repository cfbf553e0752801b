"""Newest results: which computed values stay in memory, for every thread of a process?"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable
from typing import Generic, TypeVar

__all__ = ["NewestResults"]

T = TypeVar("T")


class NewestResults(Generic[T]):
    """Values by their key, the `most` that were asked for last.

    A key names everything that its value depends on, so a value never becomes wrong.
    """

    def __init__(self, most: int) -> None:
        self._most = most
        self._kept: OrderedDict[tuple[object, ...], T] = OrderedDict()
        self._lock = threading.Lock()

    def get(self, key: tuple[object, ...], compute: Callable[[], T]) -> T:
        """Return the value of a key, computed when it is not kept; two threads may both compute."""
        with self._lock:
            if key in self._kept:
                self._kept.move_to_end(key)
                return self._kept[key]
        value = compute()
        with self._lock:
            self._kept[key] = value
            while len(self._kept) > self._most:
                self._kept.popitem(last=False)
        return value
