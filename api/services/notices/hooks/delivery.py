"""Hook delivery service: which events are due, and what became of each?

One process at a time does the round of a shop. An endpoint that does not answer costs one attempt
in a round, and all that waits for it waits on. One that answers slowly then rests for as long as it
took. Where a process dies between sending and marking, the event is sent again with the same
identifier.
"""

from __future__ import annotations

import json
import random
import time
from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from typing import Any

import structlog
from sqlalchemy.orm import Session

from solespan.api.channels.message import DeliveryError
from solespan.api.channels.retry import RetryRule, next_try
from solespan.api.channels.webhook.signed_post import post_signed, signed_headers
from solespan.api.logs import places_of
from solespan.api.services.context import AppContext
from solespan.api.services.periodic_loop import alone
from solespan.api.storage.notices import hook_events as stored
from solespan.api.storage.notices.hook_endpoints import change_endpoint, find_endpoint

__all__ = ["RETRY", "next_round", "send_events"]

log = structlog.get_logger("solespan.hooks")

LEASE_NAME = "hook_events"
MOST_EVENTS = 50  # of one round
SLOW_S = 1.0  # an answer that takes longer makes its endpoint rest
RETRY = RetryRule(timedelta(seconds=30), timedelta(hours=4), timedelta(days=3))
_GONE = "the endpoint answered 410 (gone) and was switched off"


def next_round(session: Session) -> datetime | None:
    """Return when there is something to send; None = nothing waits."""
    return stored.next_due(session)


def send_events(
    ctx: AppContext,
    stop: Callable[[], bool] = lambda: False,
    chance: Callable[[], float] | None = None,
) -> int:
    """Send what is due now; return how many events were taken."""
    with ctx.database.reading() as session:
        due = stored.next_due(session)
    if due is None or due > ctx.clock.now():
        return 0
    with alone(ctx.database, ctx.clock.now, LEASE_NAME) as mine:
        return _send(ctx, stop, chance or random.SystemRandom().random) if mine else 0


def _send(ctx: AppContext, stop: Callable[[], bool], chance: Callable[[], float]) -> int:
    with ctx.database.reading() as session:
        rows = stored.due_events(session, ctx.clock.now(), MOST_EVENTS)
    sent, resting = 0, set()
    for row in rows:
        if row["endpoint_pk"] in resting:
            continue
        if stop():
            break
        taken, rests = _one(ctx, row, chance)
        sent += taken
        if rests:
            resting.add(row["endpoint_pk"])
    return sent


def _one(ctx: AppContext, row: Mapping[str, Any], chance: Callable[[], float]) -> tuple[bool, bool]:
    """Send one event; return whether it was taken, and whether its endpoint rests now."""
    now, attempts, begun = ctx.clock.now(), row["attempts"] + 1, time.monotonic()
    problem, at, gone = None, None, False
    try:
        _post(ctx, row, now)
    except DeliveryError as failure:
        problem, gone = failure.reason, failure.bad_address
        if not failure.permanent:
            at = next_try(now, row["begun_at"], attempts, chance(), RETRY)
    except Exception as failure:  # noqa: BLE001 - a fault of ours must not end the worker
        log.error("event_failed", **places_of(failure))  # noqa: TRY400
        problem = f"the program failed ({type(failure).__name__}); its log says where"
    state = "sent" if problem is None else "failed" if at is None else "pending"
    values: dict[str, Any] = {"state": state, "attempts": attempts, "problem": problem}
    values |= {"done_at": now} if at is None else {"next_try_at": at}
    took_s = time.monotonic() - begun
    rest = at or (now + timedelta(seconds=2.0 * took_s) if took_s > SLOW_S else None)
    with ctx.database.writing() as session:
        stored.mark_event(session, row["id"], **values)
        if rest is not None:
            stored.defer_endpoint(session, row["endpoint_pk"], rest)
        if gone:
            _switch_off(session, row, now)
    log.info("event", kind=row["kind"], state=state, attempt=attempts)
    return state == "sent", problem is not None or rest is not None


def _post(ctx: AppContext, row: Mapping[str, Any], now: datetime) -> None:
    told = {
        "type": row["kind"],
        "timestamp": row["made_at"].isoformat(),
        "data": row["payload"],
    }
    body = json.dumps(told, ensure_ascii=False, sort_keys=True).encode()
    signers = [row["secret"]]
    until = row["old_secret_until"]
    if row["old_secret"] and until is not None and until > now:
        signers.append(row["old_secret"])
    signed = signed_headers(signers, row["event_id"], now, body)
    post_signed(row["url"], body, signed, allow_private=ctx.settings.webhook_private_addresses)


def _switch_off(session: Session, row: Mapping[str, Any], now: datetime) -> None:
    """Follow a receiver that says it is gone for good."""
    endpoint = find_endpoint(session, row["endpoint_id"], lock=True)
    if endpoint is not None and endpoint["active"]:
        change_endpoint(session, endpoint["id"], endpoint["version"], {"active": False})
        stored.cancel_waiting(session, endpoint["id"], _GONE, now)
