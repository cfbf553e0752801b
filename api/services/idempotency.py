"""Idempotency store: was this create answered before, and may the same answer be given again?

An `Idempotency-Key` names one attempt to create something, as the internet draft
draft-ietf-httpapi-idempotency-key-header (not an RFC yet) describes. Its answer is kept for 24
hours, in the transaction that made the row: the same key with the same request gets the same
answer. With another request it is refused. While the first is running the second waits for it, in
this process or another, as long as writers wait for the database. Then it is told to come again.
"""

from __future__ import annotations

import hashlib
import re
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from copy import copy
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy.orm import Session

from solespan.api.errors import Conflict, SolespanError
from solespan.api.services.periodic_loop import alone
from solespan.api.storage.idempotency_keys import (
    AnsweredMeanwhile,
    KeyHeld,
    find_answer,
    forget_answers_before,
    hold_key,
    keep_answer,
)
from solespan.api.storage.session import Database

__all__ = ["Answered", "IdempotencyStore", "MalformedKey", "fingerprint_of", "read_key"]

KEPT = timedelta(hours=24)
LOOK_EVERY_S = 0.1
MAX_KEY_LENGTH = 128
# A Structured Field string (RFC 8941, section 3.3.3): printable ASCII in quotes, \" and \\ escaped.
_QUOTED = re.compile(r'"((?:[\x20-\x21\x23-\x5b\x5d-\x7e]|\\["\\])*)"(?:\s*;.*)?')
_BARE = re.compile(r"[\x21\x23-\x2b\x2d-\x3a\x3c-\x7e]+")


class MalformedKey(SolespanError):
    """The caller sent an Idempotency-Key that is no string."""

    code = "malformed-key"


class KeyReused(SolespanError):
    """The caller used a key that belongs to another request."""

    code = "key-reused"


class RequestRunning(Conflict):
    """The same request is being worked on; the caller should ask again in a moment."""

    code = "request-running"
    retry_after_s = 1

    def __init__(self) -> None:
        super().__init__(
            "A request with this Idempotency-Key is still running.",
            where="header Idempotency-Key",
            remedy="Wait a moment and send the same request again.",
        )


@dataclass(frozen=True)
class Answered:
    """What a create answers: status, JSON body, and the headers that belong to it."""

    status_code: int
    body: Any
    headers: dict[str, str] = field(default_factory=dict)
    replayed: bool = False


def read_key(header: str | None) -> str | None:
    """Return the key in the header, quoted or bare, or None without a header.

    Raises `MalformedKey`.
    """
    if header is None:
        return None
    text = header.strip()
    quoted = _QUOTED.fullmatch(text)
    key = re.sub(r"\\(.)", r"\1", quoted[1]) if quoted else text
    if not 1 <= len(key) <= MAX_KEY_LENGTH or not (quoted or _BARE.fullmatch(text)):
        raise MalformedKey(
            "The Idempotency-Key cannot be read.",
            where="header Idempotency-Key",
            accepted=f"a quoted string of 1 to {MAX_KEY_LENGTH} printable ASCII characters",
            remedy="Send a UUID in double quotes.",
        )
    return key


def fingerprint_of(*parts: bytes) -> str:
    """Return one hash of everything that makes two requests the same request."""
    digest = hashlib.sha256()
    for part in parts:
        digest.update(len(part).to_bytes(8, "big"))
        digest.update(part)
    return digest.hexdigest()


class IdempotencyStore:
    """Runs creates so that each key is worked on once."""

    def __init__(self, database: Database, now: Callable[[], datetime]) -> None:
        self._database = database
        self._now = now
        self._running: set[tuple[str, str]] = set()
        self._ended = threading.Condition()
        self.wait_s = database.wait_s

    def over(self, database: Database) -> IdempotencyStore:
        """Give the same keyring over another door to the same tenant's data."""
        same = copy(self)  # what is running stays shared
        same._database = database  # noqa: SLF001 - its own
        return same

    def once(
        self,
        route: str,
        key: str | None,
        fingerprint: str,
        create: Callable[[Session], Answered],
    ) -> Answered:
        """Run `create` in one transaction, or give the kept answer of this key.

        Raises `KeyReused`, `RequestRunning`, and whatever `create` raises; then nothing is kept.
        """
        if key is None:
            with self._database.writing() as session:
                return create(session)
        with self._working_on(route, key):
            try:
                with self._database.writing() as session:
                    return self._first_or_again(session, route, key, fingerprint, create)
            except KeyHeld as cause:
                raise RequestRunning from cause
            except AnsweredMeanwhile:
                # Another process answered this key meanwhile: what it answered stands.
                with self._database.reading() as session:
                    kept = find_answer(session, route, key)
                    if kept is None:
                        raise
                    return _again(kept, fingerprint)

    def once_beside(
        self, route: str, key: str | None, fingerprint: str, create: Callable[[], Answered]
    ) -> Answered:
        """Run a `create` that has its own transaction, or give the kept answer of this key.

        Only for what may be repeated without harm: a crash before the answer is kept repeats it.
        A lease keeps other processes off the key. Raises as `once` does.
        """
        if key is None:
            return create()
        name = f"key {fingerprint_of(route.encode(), key.encode())[:32]}"
        until = time.monotonic() + self.wait_s
        with self._working_on(route, key):
            while True:
                with self._database.reading() as session:
                    kept = self._kept(session, route, key)
                if kept is not None:
                    return _again(kept, fingerprint)
                with alone(self._database, self._now, name) as mine:
                    if mine:
                        return self._first(route, key, fingerprint, create)
                if time.monotonic() >= until:
                    raise RequestRunning
                time.sleep(LOOK_EVERY_S)

    def _first(
        self, route: str, key: str, fingerprint: str, create: Callable[[], Answered]
    ) -> Answered:
        with self._database.reading() as session:
            kept = self._kept(session, route, key)
        if kept is not None:  # the process that had the lease has just answered
            return _again(kept, fingerprint)
        answer = create()
        with self._database.writing() as session:
            return self._first_or_again(session, route, key, fingerprint, lambda _: answer)

    def _kept(self, session: Session, route: str, key: str) -> dict[str, Any] | None:
        kept = find_answer(session, route, key)
        return kept if kept and kept["created_at"] >= self._now() - KEPT else None

    def _first_or_again(
        self,
        session: Session,
        route: str,
        key: str,
        fingerprint: str,
        create: Callable[[Session], Answered],
    ) -> Answered:
        hold_key(session, route, key)
        now = self._now()
        forget_answers_before(session, now - KEPT)
        kept = find_answer(session, route, key)
        if kept is not None:
            return _again(kept, fingerprint)
        answer = create(session)
        keep_answer(
            session,
            route=route,
            key=key,
            fingerprint=fingerprint,
            status_code=answer.status_code,
            body={"body": answer.body, "headers": answer.headers},
            now=now,
        )
        return answer

    @contextmanager
    def _working_on(self, route: str, key: str) -> Iterator[None]:
        """Let one request of this process at a time work on a key. Raises `RequestRunning`."""
        with self._ended:
            if not self._ended.wait_for(lambda: (route, key) not in self._running, self.wait_s):
                raise RequestRunning
            self._running.add((route, key))
        try:
            yield
        finally:
            with self._ended:
                self._running.discard((route, key))
                self._ended.notify_all()


def _again(kept: dict[str, Any], fingerprint: str) -> Answered:
    if kept["fingerprint"] != fingerprint:
        raise KeyReused(
            "This Idempotency-Key was used for another request.",
            where="header Idempotency-Key",
            remedy="Make a new key for each new request.",
        )
    stored = kept["body"]
    return Answered(kept["status_code"], stored["body"], stored["headers"], replayed=True)
