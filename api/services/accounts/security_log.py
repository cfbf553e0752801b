"""Security events: which line of the log says who came in, was refused, or changed who may do what?

One event is one JSON line of the logger `solespan.security`: the event, the sender, the network
address and ids. No secret stands there, and no name: neither an e-mail address nor a customer's id.
An event of a change is written once the change is committed.

The terminal has no such log; the audit log of the database says what its commands changed.
"""

from __future__ import annotations

from contextvars import ContextVar
from typing import Any

import structlog
from sqlalchemy import event as database_event
from sqlalchemy.orm import Session

__all__ = ["SENDER", "note", "note_after"]

log = structlog.get_logger("solespan.security")

# The sender of this request: ids and the network address. The access middleware tells it.
SENDER: ContextVar[dict[str, Any] | None] = ContextVar("security_sender", default=None)


def note(event: str, **ids: Any) -> None:
    """Write one event of the request that is being answered."""
    sender = SENDER.get()
    if sender is not None:
        log.info(event, **{**sender, **ids})


def note_after(session: Session, event: str, **ids: Any) -> None:
    """Write one event when the session's transaction is committed; never if it is not."""

    def write(_session: Session) -> None:
        note(event, **ids)

    database_event.listen(session, "after_commit", write, once=True)
