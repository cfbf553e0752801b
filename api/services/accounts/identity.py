"""Sender identity: who sends this request, for which tenant, and what may they do?

An `Identity` comes from a browser's session or from an API token. What it may do are words:

* `read` and `write`: the tenant's log, forecasts, plans and bench;
* `notices`: decide, send and word notices to customers;
* `manage`: members, tokens, audit, export and erasure;
* `own`: one customer's own pairs, on the pages made for that.

An owner may do all but `own`, staff all but `manage`; a token what its scopes and its maker may. A
member who must add a second factor first may do nothing.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from solespan.api.errors import Busy, DatabaseUnavailable
from solespan.api.services.accounts.secrets import hash_of
from solespan.api.storage.accounts.credentials import find_session, find_token, touch
from solespan.api.storage.scope import FIRST_TENANT
from solespan.api.storage.session import Database

__all__ = ["MAY", "SCOPES", "THIS_MACHINE", "TOKEN_START", "Identity", "Limits", "identify"]

SCOPES = ("read", "write", "notices", "manage")
MAY = {"owner": frozenset(SCOPES), "staff": frozenset(SCOPES) - {"manage"}}
# Of which roles a tenant's word asks a second factor.
ASKED_OF = {"nobody": (), "owners": ("owner",), "everyone": ("owner", "staff")}
TOKEN_START = "solespan_"  # noqa: S105 - so that a lost token is recognised
TOUCH_EVERY = timedelta(minutes=1)


@dataclass(frozen=True)
class Identity:
    """One sender: the tenant, a name for the audit log, and what they may do."""

    tenant_pk: int
    actor: str
    may: frozenset[str]
    user_pk: int | None = None
    wearer_pk: int | None = None
    session_pk: int | None = None
    log_name: str = ""  # kind and id, for the log of events
    shop: bool = False  # whether a member works in a shop, not at home
    must_enrol: bool = False  # whether the tenant asks for a second factor, and there is none

    @property
    def account(self) -> str:
        """A name for the one who works in this tenant that tells an onlooker nothing."""
        return hash_of(f"{self.tenant_pk} {self.user_pk} {self.wearer_pk}")[:16]


# The embedded default: the person at this machine. `serve` lets nobody else in then.
THIS_MACHINE = Identity(FIRST_TENANT, "this machine", frozenset(SCOPES))


@dataclass(frozen=True)
class Limits:
    """How long a session lives: without being used, and at the longest."""

    idle: timedelta
    longest: timedelta


def identify(
    database: Database, *, cookie: str | None, bearer: str | None, now: datetime, limits: Limits
) -> Identity | None:
    """Return who holds this token or session, or None; every request asks again."""
    if bearer:
        return _by_token(database, bearer, now)
    return _by_session(database, cookie, now, limits) if cookie else None


def _by_token(database: Database, bearer: str, now: datetime) -> Identity | None:
    with database.reading() as session:
        found = find_token(session, hash_of(bearer))
    if found is None:
        return None
    _note_use(database, "token", found, now)
    may = frozenset(found["scopes"]) & MAY[found["role"]]
    actor = f"token {found['token_id']}"
    return Identity(found["tenant_pk"], actor, may, log_name=actor)


def _by_session(database: Database, cookie: str, now: datetime, limits: Limits) -> Identity | None:
    with database.reading() as session:
        found = find_session(session, hash_of(cookie))
    if found is None:
        return None
    if now - found["used_at"] > limits.idle or now - found["begun_at"] > limits.longest:
        return None
    _note_use(database, "session", found, now)
    if found["wearer_pk"] is not None:
        actor = f"customer {found['wearer_pk']}"
        return Identity(
            found["tenant_pk"],
            actor,
            frozenset({"own"}),
            wearer_pk=found["wearer_pk"],
            session_pk=found["pk"],
            log_name=actor,
        )
    asked = ASKED_OF[found["second_factor"]]
    must_enrol = found["role"] in asked and not found["has_factor"]
    return Identity(
        found["tenant_pk"],
        found["email"],
        frozenset() if must_enrol else MAY[found["role"]],
        user_pk=found["user_pk"],
        session_pk=found["pk"],
        log_name=f"member {found['user_id']}",
        shop=found["kind"] == "shop",
        must_enrol=must_enrol,
    )


def _note_use(database: Database, kind: str, found: dict[str, Any], now: datetime) -> None:
    # Once a minute is enough to know by, and spares the hot reads a write each. Where nothing can
    # be written at once the next request notes it: nobody waits, and nobody is kept out.
    if found["used_at"] is None or now - found["used_at"] >= TOUCH_EVERY:
        with suppress(Busy, DatabaseUnavailable), database.writing(at_once=True) as session:
            touch(session, kind, found["pk"], now)
