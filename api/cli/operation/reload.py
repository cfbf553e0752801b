"""Graceful reload: how does a new process take over the socket, so that no request is dropped?

On SIGHUP the server stops accepting, answers what it has, and becomes a new process by `exec`. The
listening socket stays open meanwhile, so new connections wait for the new process. A connection
that has sent nothing yet is waited for. One that only stays open for a next request is closed, as
HTTP allows.
"""

from __future__ import annotations

import asyncio
import os
import signal
import socket
import sys
from types import FrameType
from typing import Any

import uvicorn

from solespan.api.cli.stopping import LONGEST_END_S, end_within
from solespan.api.errors import BadSetting

__all__ = ["inherited", "serve_until_stopped", "words_with_socket"]

LONGEST_SILENCE_S = 5.0
STEP_S = 0.02


class _Server(uvicorn.Server):
    """A server that knows whether it stops for good or for a new process."""

    reload = False

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        """End in time once a signal asks for it."""
        if not self.should_exit:
            end_within(LONGEST_END_S)
        super().handle_exit(sig, frame)

    def ask_reload(self, *_: Any) -> None:
        """Stop, and begin again as a new process."""
        self.reload = self.should_exit = True

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """Let connections that were just accepted send their request, then stop as ever."""
        for server in self.servers:
            server.close()
        for _ in range(round(LONGEST_SILENCE_S / STEP_S)):
            await asyncio.sleep(STEP_S)
            if not self._silent():
                break
        await super().shutdown(sockets)

    def _silent(self) -> bool:
        """Whether a connection is there that has not begun a request."""
        known = self.server_state.connections
        return self.reload and any(getattr(one, "cycle", one) is None for one in known)


def serve_until_stopped(config: uvicorn.Config, listening: socket.socket) -> None:
    """Serve until a signal asks to stop; SIGHUP begins again with the program as it is on disk."""
    server = _Server(config)
    kept = listening.dup()  # the server closes its own
    if hasattr(signal, "SIGHUP"):
        signal.signal(signal.SIGHUP, server.ask_reload)
    server.run(sockets=[listening])
    if server.reload:
        signal.signal(signal.SIGHUP, signal.SIG_IGN)  # until the new process asks for it
        os.set_inheritable(kept.fileno(), True)
        words = words_with_socket(sys.orig_argv, kept.fileno())
        os.execv(sys.executable, words)  # noqa: S606 - the same program with the same words
    kept.close()


def words_with_socket(words: list[str], descriptor: int) -> list[str]:
    """Return the words of a command, with the number of an open socket in the place of any."""
    if "--fd" in words:
        at = words.index("--fd")
        words = words[:at] + words[at + 2 :]
    return [*words, "--fd", str(descriptor)]


def inherited(descriptor: int) -> socket.socket:
    """Return the listening socket that systemd, or the process before, left open.

    Raises `BadSetting` where there is none.
    """
    try:
        listening = socket.socket(fileno=descriptor)
        listens = listening.getsockopt(socket.SOL_SOCKET, socket.SO_ACCEPTCONN)
    except OSError:
        listens = 0
    if not listens or listening.family not in (socket.AF_INET, socket.AF_INET6):
        raise BadSetting(
            f"Number {descriptor} is no open socket that listens.",
            where="--fd",
            accepted="3, where a socket unit of systemd starts the service",
            remedy="Leave the option out: the service then opens a socket itself.",
        )
    return listening
