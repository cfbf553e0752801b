"""Reminder delivery: which reminders are due in this round, and what became of each message?

One process at a time does the round of a tenant. Where it dies between sending and marking, the
message is sent again. By its topic a phone shows only one.
"""

from __future__ import annotations

import json
import random
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from typing import Any

import structlog
from sqlalchemy.orm import Session

from solespan.api.channels.mail import Mail
from solespan.api.channels.message import DeliveryError, Message
from solespan.api.channels.push import PushSender, Subscription
from solespan.api.channels.retry import next_try
from solespan.api.channels.setup import ChannelSettings
from solespan.api.errors import SolespanError
from solespan.api.logs import places_of
from solespan.api.notices.quiet import first_allowed, zone_of
from solespan.api.services.context import AppContext
from solespan.api.services.periodic_loop import alone
from solespan.api.services.planning.reminder_text import (
    facts_of,
    mail_parts,
    push_text,
    subject_of,
)
from solespan.api.services.planning.reminders import keys_of, payload_of, put_messages
from solespan.api.storage.planning import reminders as stored

__all__ = ["next_round", "remind"]

log = structlog.get_logger("solespan.reminders")

LEASE_NAME = "reminders"
LOOK_EVERY = timedelta(hours=1)
AT_MOST_EVERY = timedelta(days=7)
WEARERS, MESSAGES = 50, 20  # of one round
TOPIC = "solespan-reminder"
NOBODY = "mailto:operator@localhost"


@dataclass(frozen=True)
class _Rules:
    """What mail reads of the rules of notices."""

    shop_name: str = "solespan"
    mail_from: str | None = None
    reply_to: str | None = None
    sms_url: str | None = None
    webhook_url: str | None = None


def next_round(session: Session) -> datetime | None:
    """Return when there is something to look at or to send; None = never."""
    return stored.next_due(session)


def remind(
    ctx: AppContext,
    stop: Callable[[], bool] = lambda: False,
    chance: Callable[[], float] | None = None,
) -> int:
    """Decide and send what is due now; return how many messages went out."""
    with ctx.database.reading() as session:
        due = stored.next_due(session)
    if due is None or due > ctx.clock.now():
        return 0
    with alone(ctx.database, ctx.clock.now, LEASE_NAME) as mine:
        if not mine:
            return 0
        _decide(ctx, stop)
        return _send(ctx, stop, chance or random.SystemRandom().random)


def _decide(ctx: AppContext, stop: Callable[[], bool]) -> None:
    now = ctx.clock.now()
    with ctx.database.reading() as session:
        wishes = stored.due_reminders(session, now, WEARERS)
    for wish in wishes:
        if stop():
            return
        try:
            _look(ctx, wish, now)
        except SolespanError as problem:
            log.warning("reminder_not_decided", code=problem.code)
            with ctx.database.writing() as session:
                stored.note_look(session, wish["wearer_pk"], now + LOOK_EVERY, None)


def _look(ctx: AppContext, wish: Mapping[str, Any], now: datetime) -> None:
    """Tell a wearer what is new since the last reminder, outside their quiet hours."""
    quiet = [time.fromisoformat(wish[name]) for name in ("quiet_from", "quiet_to")]
    allowed = first_allowed(now, zone_of(wish["time_zone"]), *quiet)
    with ctx.database.reading() as session:
        facts = facts_of(ctx, session, wish["wearer_id"], wish["kinds"]) if allowed <= now else []
    keys = [fact.key for fact in facts]
    fresh = set(keys) - set(wish["told"])
    with ctx.database.writing() as session:
        if not fresh:
            later = max(allowed, now + LOOK_EVERY)
            stored.note_look(session, wish["wearer_pk"], later, None)
            return
        lines = [fact.line for fact in facts]
        payload = payload_of(ctx, session, wish["wearer_pk"], subject_of(facts), lines)
        put_messages(ctx, session, wish["wearer_pk"], payload)
        stored.note_look(session, wish["wearer_pk"], now + AT_MOST_EVERY, keys)


def _send(ctx: AppContext, stop: Callable[[], bool], chance: Callable[[], float]) -> int:
    now = ctx.clock.now()
    with ctx.database.reading() as session:
        rows = stored.due_messages(session, now, MESSAGES)
    if not rows:
        return 0
    with ctx.database.writing() as session:
        vapid = keys_of(session).vapid
    mail = Mail(ChannelSettings(ctx.settings, _Rules(), "", ctx.clock))
    sent = 0
    try:
        for row in rows:
            if stop():
                break
            push = PushSender(
                vapid,
                _contact(ctx, row),
                allow_private=ctx.settings.webhook_private_addresses,
            )
            sent += _one(ctx, row, mail, push, chance)
    finally:
        mail.close()
    return sent


def _one(
    ctx: AppContext,
    row: Mapping[str, Any],
    mail: Mail,
    push: PushSender,
    chance: Callable[[], float],
) -> int:
    now, attempts = ctx.clock.now(), row["attempts"] + 1
    problem, gone, at = None, False, None
    try:
        if row["push_pk"] is None:
            _mail(row, mail)
        else:
            place = Subscription(row["endpoint"], row["p256dh"], row["auth"])
            push.send(place, _push_payload(row["payload"]), topic=TOPIC, now=now)
    except DeliveryError as failure:
        problem, gone = failure.reason, failure.bad_address
        at = None if failure.permanent else next_try(now, row["made_at"], attempts, chance())
    except Exception as failure:  # noqa: BLE001 - a fault of ours must not end the worker
        log.error("reminder_failed", **places_of(failure))  # noqa: TRY400
        problem = f"the program failed ({type(failure).__name__}); its log says where"
    state = "sent" if problem is None else "failed" if at is None else "pending"
    with ctx.database.writing() as session:
        more = {} if at is None else {"next_try_at": at}
        stored.mark_message(
            session, row["id"], state=state, attempts=attempts, problem=problem, **more
        )
        if gone and row["push_id"]:
            stored.forget_push(session, row["push_id"])
    log.info("reminder", state=state, push=row["push_pk"] is not None, attempt=attempts)
    return state == "sent"


def _mail(row: Mapping[str, Any], mail: Mail) -> None:
    if mail.missing:
        raise DeliveryError(mail.missing, permanent=False)
    if row["address"] is None:
        raise DeliveryError("there is no mail address any more", permanent=True)
    text, html = mail_parts(row["payload"])
    mail.send(
        Message(
            message_id=f"<{row['message_id']}@solespan>",
            notice_id=row["message_id"],
            made_at=row["made_at"],
            customer_id=row["wearer_id"],
            customer_name=row["name"] or "",
            address=row["address"],
            subject=row["payload"]["subject"],
            text=text,
            html=html,
            unsubscribe_url=row["payload"]["off"],
            pairs=(),
        )
    )


def _push_payload(payload: Mapping[str, Any]) -> str:
    return json.dumps({"title": payload["subject"], "body": push_text(payload["lines"])})


def _contact(ctx: AppContext, row: Mapping[str, Any]) -> str:
    """Say where a push service reaches the sender (RFC 8292, section 2.1)."""
    mail = ctx.settings.smtp_from or row["address"]
    if mail:
        return f"mailto:{mail}"
    public = ctx.settings.public_address
    return public if public and ctx.settings.over_tls else NOBODY
