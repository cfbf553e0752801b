"""Periodic loop: work that comes round again in a thread of its own, until it is stopped.

Several processes may run the same loop over one database. `alone` lets one of them do a kind of
work of a tenant at a time; another takes it over when that one dies.
"""

from __future__ import annotations

import threading
import time
from abc import ABC, abstractmethod
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from datetime import datetime, timedelta
from typing import ClassVar
from uuid import uuid4

import structlog

from solespan.api.errors import SolespanError
from solespan.api.logs import places_of
from solespan.api.storage.leases import end_lease, renew_lease, take_lease
from solespan.api.storage.session import Database

__all__ = ["LEASE", "PeriodicLoop", "alone", "end_loops"]

STOP_S = 4.0  # the program is to end within 10 s of being asked

log = structlog.get_logger("solespan.loops")

LEASE = timedelta(seconds=60)
RENEW_EVERY_S = 15.0


@contextmanager
def alone(
    database: Database,
    now: Callable[[], datetime],
    name: str,
    *,
    rest: timedelta | None = None,
    over_rest: bool = False,
) -> Iterator[bool]:
    """Hold the lease of a kind of work in this block; give whether no other process has it.

    The lease is renewed while the block runs. After it the work is not due for the time of `rest`.
    With `over_rest` it is done even if it is not due.
    """
    owner = uuid4().hex
    with database.writing() as session:
        moment = now()
        mine = take_lease(
            session, name, owner=owner, now=moment, until=moment + LEASE, over_rest=over_rest
        )
    if not mine:
        yield False
        return
    ended = threading.Event()

    def renew() -> None:
        while not ended.wait(RENEW_EVERY_S):
            with suppress(SolespanError), database.writing() as session:  # else at the next time
                renew_lease(session, name, owner=owner, until=now() + LEASE)

    renewal = threading.Thread(target=renew, name=f"lease {name}", daemon=True)
    renewal.start()
    try:
        yield True
    finally:
        ended.set()
        renewal.join()
        with suppress(SolespanError), database.writing() as session:  # else its time ends it
            until = None if rest is None else now() + rest
            end_lease(session, name, owner=owner, rest_until=until)


class PeriodicLoop(ABC):
    """A loop of turns and pauses; a turn that fails is logged, and the next one comes all the same.

    `wake` ends a pause early, and may be shared with others.
    """

    name: ClassVar[str]

    def __init__(self, wake: threading.Event | None = None) -> None:
        self._wake = wake or threading.Event()
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None

    @abstractmethod
    def turn(self) -> None:
        """Do one turn's work, and look at `_stop` between its steps."""

    @abstractmethod
    def pause(self) -> None:
        """Wait for the next turn, until `_wake` is set."""

    def start(self) -> None:
        """Begin to work in a thread; a second call does nothing."""
        if self._thread is None:
            self._thread = threading.Thread(target=self.run, name=self.name, daemon=True)
            self._thread.start()

    def ask_to_stop(self) -> None:
        """Let no step begin any more, and wait for none."""
        self._stop.set()
        self._wake.set()

    def stop(self, timeout_s: float = 60.0) -> None:
        """Finish the step at hand and end."""
        self.ask_to_stop()
        if self._thread is not None:
            self._thread.join(timeout_s)

    def run(self) -> None:
        """Work turn after turn until `stop`."""
        while not self._stop.is_set():
            try:
                self.turn()
            except Exception as failure:  # noqa: BLE001 - the thread must outlive one bad turn
                log.error("turn_failed", loop=self.name, **places_of(failure))  # noqa: TRY400
            self.pause()


def end_loops(*loops: PeriodicLoop, within_s: float = STOP_S) -> None:
    """Stop all loops at once, and wait a little for the steps at hand.

    A step that takes longer is left behind: what it has not committed is rolled back.
    """
    for loop in loops:
        loop.stop(0.0)
    end = time.monotonic() + within_s
    for loop in loops:
        loop.stop(max(0.0, end - time.monotonic()))
