"""Reminder service: who wishes to be reminded of what, by which way, and how does it end?

The key that signs push messages and links is made at the first use and kept with the shop's own
settings. No export holds it. The link under each reminder ends reminders with one tap.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import secrets
from collections.abc import Mapping
from datetime import time
from typing import Any

from pydantic import BaseModel
from sqlalchemy.orm import Session

from solespan.api.channels.addresses import usable_mail
from solespan.api.channels.push import Subscription, fault_of, new_vapid_key, public_key_of
from solespan.api.errors import NotFound, Refused
from solespan.api.services.context import AppContext
from solespan.api.services.planning.dates import pair_address
from solespan.api.services.planning.rack import known_wearer
from solespan.api.services.planning.reminder_text import KINDS
from solespan.api.storage.planning import reminders as stored
from solespan.api.storage.rack.records import list_records
from solespan.api.storage.shop_settings import find_setting, put_setting

__all__ = [
    "add_push",
    "end",
    "end_by_link",
    "keep",
    "keys_of",
    "list_wearers",
    "off_link",
    "payload_of",
    "public_key",
    "put_messages",
    "put_test",
    "remove_push",
    "wishes_of",
]

SETTING = "reminder_keys"
QUIET_FROM, QUIET_TO = "21:00", "08:00"
LONGEST_NAME = 60
MOST_DEVICES = 20
MOST_WEARERS = 500


class _Keys(BaseModel):
    """The private key of push messages, and the key of links."""

    vapid: str
    links: str


def keys_of(session: Session) -> _Keys:
    """Return the keys of this household or shop; the first use makes them.

    The session must be one that writes.
    """
    found = find_setting(session, SETTING, lock=True)
    if found is not None:
        return _Keys.model_validate(found[0])
    made = _Keys(vapid=new_vapid_key(), links=secrets.token_urlsafe(32))
    put_setting(session, SETTING, made.model_dump(), 0)
    return made


def list_wearers(session: Session) -> list[tuple[str, str]]:
    """List whom reminders can be for: id and name."""
    every = list_records(session, "wearers", equal={}, limit=MOST_WEARERS)
    return [(row["wearer_id"], row["name"] or row["wearer_id"]) for row in every]


def wishes_of(ctx: AppContext, session: Session, wearer_id: str) -> dict[str, Any]:
    """Return what a wearer wishes, the devices that take push, and the last message.

    Before the first use of the keys there is no public one. Raises `NotFound`.
    """
    wearer_pk = known_wearer(session, wearer_id)["pk"]
    kept, found = stored.find_reminder(session, wearer_pk), find_setting(session, SETTING)
    values: dict[str, Any] = {"kinds": list(KINDS), "address": None}
    values |= {"quiet_from": QUIET_FROM, "quiet_to": QUIET_TO}
    values |= {k: v for k, v in (kept or {}).items() if k in values}
    return {
        "on": kept is not None,
        **values,
        "devices": stored.list_push(session, wearer_pk),
        "last": stored.last_message(session, wearer_pk),
        "public_key": "" if found is None else public_key_of(found[0]["vapid"]),
        "mail_missing": not (ctx.settings.smtp_host and ctx.settings.smtp_from),
    }


def keep(ctx: AppContext, session: Session, wearer_id: str, typed: Mapping[str, str]) -> None:
    """Keep what the form says. Raises `NotFound`, `Refused`."""
    wearer_pk = known_wearer(session, wearer_id)["pk"]
    address = typed.get("address", "").strip()
    if address and not usable_mail(address):
        raise Refused(
            "This is no e-mail address.",
            where="address",
            accepted="name@example.org, or nothing",
            remedy="Correct it and keep it again.",
        )
    kinds = [kind for kind in KINDS if typed.get("kind_" + kind.replace(" ", "_"))]
    stored.keep_reminder(
        session,
        wearer_pk,
        {
            "kinds": kinds,
            "address": address or None,
            "quiet_from": _time(typed, "quiet_from"),
            "quiet_to": _time(typed, "quiet_to"),
            "next_look_at": ctx.clock.now(),
        },
    )


def _time(typed: Mapping[str, str], name: str) -> str:
    try:
        return time.fromisoformat(typed.get(name, "")).strftime("%H:%M")
    except ValueError:
        raise Refused(
            "This is no time of day.",
            where=name,
            accepted="hours and minutes, as 21:00",
            remedy="Correct it and keep it again.",
        ) from None


def public_key(session: Session) -> str:
    """Return the public key that browsers subscribe with; the first use makes it."""
    return public_key_of(keys_of(session).vapid)


def end(session: Session, wearer_id: str) -> None:
    """End a wearer's reminders by every way. Raises `NotFound`."""
    stored.forget_reminder(session, known_wearer(session, wearer_id)["pk"])


def add_push(ctx: AppContext, session: Session, wearer_id: str, typed: Mapping[str, str]) -> None:
    """Let the browser that sends take push messages. Raises `NotFound`, `Refused`."""
    wearer_pk = known_wearer(session, wearer_id)["pk"]
    given = {name: typed.get(name, "").strip() for name in ("endpoint", "p256dh", "auth")}
    fault = fault_of(Subscription(**given), allow_private=ctx.settings.webhook_private_addresses)
    if not fault and len(stored.list_push(session, wearer_pk)) >= MOST_DEVICES:
        fault = f"{MOST_DEVICES} devices take reminders already"
    if fault:
        raise Refused(
            f"This browser cannot take push messages: {fault}.",
            where="endpoint",
            accepted="what a browser gives when it subscribes",
            remedy="Remove a device, or use another browser.",
        )
    name = typed.get("name", "").strip()[:LONGEST_NAME] or "a browser"
    stored.keep_push(session, wearer_pk, given | {"name": name, "made_at": ctx.clock.now()})
    if stored.find_reminder(session, wearer_pk) is None:
        stored.keep_reminder(
            session,
            wearer_pk,
            {
                "kinds": list(KINDS),
                "address": None,
                "quiet_from": QUIET_FROM,
                "quiet_to": QUIET_TO,
                "next_look_at": ctx.clock.now(),
            },
        )


def remove_push(session: Session, push_id: str) -> None:
    """Let a browser take no more push messages. Raises `NotFound`."""
    if not stored.forget_push(session, push_id):
        raise NotFound("There is no such device.", where="push_id", remedy="Look at the list.")


def put_test(ctx: AppContext, session: Session, wearer_id: str) -> int:
    """Put a test message on its way by every way; return how many. Raises `NotFound`."""
    wearer_pk = known_wearer(session, wearer_id)["pk"]
    lines = ["This is a test. Reminders reach you this way."]
    payload = payload_of(ctx, session, wearer_pk, "A test from your rack", lines)
    return put_messages(ctx, session, wearer_pk, payload)


def put_messages(ctx: AppContext, session: Session, wearer_pk: int, payload: dict[str, Any]) -> int:
    """Put one message on its way to the mail address and to each device; return how many."""
    kept = stored.find_reminder(session, wearer_pk)
    ways: list[int | None] = [device["id"] for device in stored.list_push(session, wearer_pk)]
    if kept is not None and kept["address"]:
        ways.append(None)
    for way in ways:
        stored.add_message(session, wearer_pk, way, payload, ctx.clock.now())
    return len(ways)


def payload_of(
    ctx: AppContext, session: Session, wearer_pk: int, subject: str, lines: list[str]
) -> dict[str, Any]:
    """Gather what a message holds."""
    return {
        "subject": subject,
        "lines": lines,
        "address": pair_address(ctx.settings),
        "off": off_link(ctx, session, wearer_pk),
    }


def off_link(ctx: AppContext, session: Session, wearer_pk: int) -> str:
    """Return the address that ends a wearer's reminders."""
    tenant_pk = ctx.database.tenant_pk
    mac = _mac(keys_of(session).links, tenant_pk, wearer_pk)
    return f"{pair_address(ctx.settings)}reminders/off/{tenant_pk}.{wearer_pk}.{mac}"


def end_by_link(ctx: AppContext, token: str, *, end: bool) -> None:
    """End the reminders that a link belongs to, or only look at the link. Raises `NotFound`."""
    tenant, _, rest = token.partition(".")
    wearer, _, mac = rest.partition(".")
    numbers = [tenant, wearer]
    if not all(n.isascii() and n.isdigit() and len(n) < 16 for n in numbers):
        raise _no_link()
    shop = ctx.for_tenant(int(tenant))
    with shop.database.writing() as session:
        right = _mac(keys_of(session).links, int(tenant), int(wearer))
        if not hmac.compare_digest(mac.encode(), right.encode()):
            raise _no_link()
        if end:
            stored.forget_reminder(session, int(wearer))


def _no_link() -> NotFound:
    return NotFound(
        "This link ends no reminders.", where="the address", remedy="Open the page Reminders."
    )


def _mac(key: str, tenant_pk: int, wearer_pk: int) -> str:
    said = f"solespan reminders off {tenant_pk} {wearer_pk}".encode()
    digest = hmac.digest(key.encode(), said, hashlib.sha256)
    return base64.urlsafe_b64encode(digest[:18]).decode()
