"""Hook endpoints service: how are addresses of the shop's own software set up and changed?"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any
from urllib.parse import urlsplit
from uuid import uuid4

from sqlalchemy.orm import Session

from solespan.api.channels.webhook.connect import INSIDE, is_inside
from solespan.api.channels.webhook.signed_post import new_secret
from solespan.api.errors import Conflict, NotFound, Refused, StaleVersion
from solespan.api.schemas.notices.hook_endpoints import HookEndpointGiven
from solespan.api.services.context import AppContext
from solespan.api.storage.notices import hook_endpoints as stored
from solespan.api.storage.notices.hook_events import cancel_waiting, list_events, resend_event
from solespan.api.storage.scope import name_changed

__all__ = [
    "add_endpoint",
    "change_endpoint",
    "find_shown",
    "list_endpoints",
    "list_events",
    "read_secret",
    "remove_endpoint",
    "resend",
    "rotate_secret",
    "shown",
]

MOST_ENDPOINTS = 20
OLD_SECRET_HOURS = 24
_HIDDEN = ("id", "secret", "old_secret")


def list_endpoints(session: Session) -> list[dict[str, Any]]:
    """Return every endpoint, without secrets."""
    return [shown(row) for row in stored.list_endpoints(session)]


def shown(row: dict[str, Any]) -> dict[str, Any]:
    """Return an endpoint without its secrets."""
    return {name: value for name, value in row.items() if name not in _HIDDEN}


def find_shown(session: Session, endpoint_id: str) -> dict[str, Any]:
    """Return an endpoint without its secrets. Raises `NotFound`."""
    return shown(_found(session, endpoint_id))


def add_endpoint(ctx: AppContext, session: Session, given: HookEndpointGiven) -> dict[str, Any]:
    """Keep a new endpoint with a secret of its own; return it.

    Raises `Refused` for an address inside the operator's network, `Conflict` beyond the most.
    """
    _refuse_inside(ctx, given.url)
    if len(stored.list_endpoints(session)) >= MOST_ENDPOINTS:
        raise Conflict(
            f"There are {MOST_ENDPOINTS} endpoints already.",
            where="the endpoints",
            accepted=f"up to {MOST_ENDPOINTS}",
            remedy="Delete one that is no longer used.",
        )
    endpoint_id = uuid4().hex
    values = given.model_dump() | {"endpoint_id": endpoint_id, "secret": new_secret()}
    stored.add_endpoint(session, values)
    name_changed(endpoint_id=endpoint_id)
    return shown(_found(session, endpoint_id))


def change_endpoint(
    ctx: AppContext,
    session: Session,
    endpoint_id: str,
    given: HookEndpointGiven,
    versions: frozenset[int] | None,
) -> dict[str, Any]:
    """Replace an endpoint's address, kinds, note and state; return it.

    What waits for an endpoint that is switched off is not sent any more. Raises `NotFound`,
    `StaleVersion`, `Refused`.
    """
    row = _found(session, endpoint_id, lock=True)
    if versions is not None and row["version"] not in versions:
        raise _stale(row["version"])
    if given.url != row["url"]:
        _refuse_inside(ctx, given.url)
    if not stored.change_endpoint(session, row["id"], row["version"], given.model_dump()):
        raise _stale(row["version"])
    if row["active"] and not given.active:
        cancel_waiting(session, row["id"], "the endpoint was switched off", ctx.clock.now())
    name_changed(endpoint_id=endpoint_id)
    return shown(_found(session, endpoint_id))


def rotate_secret(session: Session, endpoint_id: str, now: datetime) -> dict[str, Any]:
    """Make a new secret; the old one signs beside it for a day. Raises `NotFound`."""
    row = _found(session, endpoint_id, lock=True)
    values = {
        "secret": new_secret(),
        "old_secret": row["secret"],
        "old_secret_until": now + timedelta(hours=OLD_SECRET_HOURS),
    }
    if not stored.change_endpoint(session, row["id"], row["version"], values):
        raise _stale(row["version"])
    name_changed(endpoint_id=endpoint_id)
    return shown(_found(session, endpoint_id))


def read_secret(session: Session, endpoint_id: str) -> str:
    """Return the secret that signs for an endpoint. Raises `NotFound`."""
    return str(_found(session, endpoint_id)["secret"])


def remove_endpoint(session: Session, endpoint_id: str) -> None:
    """Delete an endpoint with its events. Raises `NotFound`."""
    stored.remove_endpoint(session, _found(session, endpoint_id, lock=True)["id"])
    name_changed(endpoint_id=endpoint_id)


def resend(session: Session, event_id: str, now: datetime) -> dict[str, Any]:
    """Let an event go out again, with the same identifier. Raises `NotFound`."""
    if not resend_event(session, event_id, now):
        raise NotFound(
            f"There is no event {event_id!r}.",
            where="event_id",
            remedy="Look it up in the list of events: GET /v1/hook-events",
        )
    name_changed(event_id=event_id)
    return {"event_id": event_id, "state": "pending"}


def _found(session: Session, endpoint_id: str, *, lock: bool = False) -> dict[str, Any]:
    row = stored.find_endpoint(session, endpoint_id, lock=lock)
    if row is None:
        raise NotFound(
            f"There is no endpoint {endpoint_id!r}.",
            where="endpoint_id",
            remedy="Look it up in the list of endpoints: GET /v1/hook-endpoints",
        )
    return row


def _refuse_inside(ctx: AppContext, url: str) -> None:
    if ctx.settings.webhook_private_addresses:
        return
    if is_inside(urlsplit(url).hostname or ""):
        raise Refused(
            f"{INSIDE[0].upper()}{INSIDE[1:]}.",
            where="url",
            accepted="an address on the internet",
            remedy="Give another address.",
        )


def _stale(version: int) -> StaleVersion:
    return StaleVersion(
        "Someone changed this endpoint since it was read.",
        where="header If-Match",
        accepted=str(version),
        remedy="Read it again and decide again.",
    )
