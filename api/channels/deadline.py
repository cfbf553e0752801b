"""Deadline of a sending: how does a whole conversation with another's server end in time?

A time-out of a socket begins again with each byte. A server that drips would hold its sender for
ever. Here the connection is shut when the time for all of it is over.
"""

from __future__ import annotations

import socket
import time
from contextlib import suppress
from threading import Lock, Timer
from typing import Self

__all__ = ["Deadline"]


class Deadline:
    """Seconds for a whole conversation; at their end every guarded socket is shut."""

    def __init__(self, seconds: float) -> None:
        self.seconds = seconds
        self._end = time.monotonic() + seconds
        self._guarded: list[socket.socket] = []
        self._lock = Lock()
        self._timer = Timer(seconds, self.end)
        self._timer.daemon = True
        self.over = False

    def __enter__(self) -> Self:
        """Let the time begin to run."""
        self._timer.start()
        return self

    def __exit__(self, *_: object) -> None:
        """Let go of the sockets, which stay as they are."""
        self._timer.cancel()
        with self._lock:
            for one in self._guarded:
                one.close()
            self._guarded.clear()

    @property
    def remaining_s(self) -> float:
        """Seconds left. Raises TimeoutError when none are."""
        left = self._end - time.monotonic()
        if left <= 0 or self.over:
            raise TimeoutError("the time for the whole conversation is over")
        return left

    def guard(self, connection: socket.socket) -> socket.socket:
        """Shut this socket's connection when the time is over, and give the socket back."""
        with self._lock:
            self._guarded.append(connection.dup())  # TLS takes the socket itself away
        if self.over:
            self.end()
        return connection

    def end(self) -> None:
        """Shut every connection now; a read that waits returns."""
        self.over = True
        with self._lock, suppress(OSError):
            for one in self._guarded:
                one.shutdown(socket.SHUT_RDWR)
