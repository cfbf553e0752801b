"""Fair pool of workers: who is served next, so that one slow shop holds up no other?

Each key waits at most once, and one thread at a time works for it. After its turn it goes to the
end of the line. So a key whose turns are slow takes one thread, whatever it has to do.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable

import structlog

from solespan.api.logs import places_of

__all__ = ["FairPool"]

log = structlog.get_logger("solespan.notices")


class FairPool:
    """Works for keys in turn in a few threads.

    Parameters
    ----------
    work : callable
        Takes a key; returns whether more waits for it.
    threads : int
        How many keys are worked for at once; a thread ends when nobody waits.
    """

    def __init__(self, work: Callable[[int], bool], threads: int) -> None:
        self._work = work
        self._most = threads
        self._running = 0
        self._line: deque[int] = deque()
        self._busy: set[int] = set()
        self._changed = threading.Condition()
        self._ended = False

    def offer(self, key: int) -> None:
        """Let a key wait for its turn, unless it waits or is worked for already."""
        with self._changed:
            if self._ended or key in self._busy or key in self._line:
                return
            self._line.append(key)
            if self._running == self._most:
                return
            self._running += 1
        threading.Thread(target=self._serve, name="notices-turns", daemon=True).start()

    def wait_until_idle(self) -> None:
        """Wait until nothing is left to do, or the pool ends."""
        with self._changed:
            self._changed.wait_for(lambda: self._ended or not (self._line or self._busy))

    def end(self) -> None:
        """Begin no turn any more; those that run are left to themselves."""
        with self._changed:
            self._ended = True
            self._line.clear()
            self._changed.notify_all()

    def join(self, timeout_s: float) -> bool:
        """Wait for the turns that run; return whether all are over."""
        with self._changed:
            return self._changed.wait_for(lambda: not self._busy, timeout_s)

    def _serve(self) -> None:
        while True:
            with self._changed:
                if not self._line:
                    self._running -= 1
                    return
                key = self._line.popleft()
                self._busy.add(key)
            again = False
            try:
                again = self._work(key)
            except Exception as failure:  # noqa: BLE001 - one shop's fault ends no thread
                log.error("turn_failed", loop="notices", **places_of(failure))  # noqa: TRY400
            with self._changed:
                self._busy.discard(key)
                if again and not self._ended:
                    self._line.append(key)
                self._changed.notify_all()
