"""Consents service.

Who agreed to be written to, who no longer does, and which addresses take no notices?
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime, time

from sqlalchemy.orm import Session

from solespan.api.channels import CHANNELS
from solespan.api.channels.mail import speaks_of_mailbox
from solespan.api.channels.mail.bounce import read_report
from solespan.api.clock import Clock
from solespan.api.errors import Refused
from solespan.api.schemas.notices.consents import BounceGiven, ConsentGiven, ConsentWithdrawn
from solespan.api.services.notices.sending import BAD_ADDRESS
from solespan.api.services.unknown_id import unknown_id
from solespan.api.storage.notices import consents as stored
from solespan.api.storage.notices.consents import (
    consents_of,
    held_consents,
    lift_stop,
    wearers_at,
)
from solespan.api.storage.notices.outbox import address_of_mail, cancel_unsent, mark_returned
from solespan.api.storage.rack.records import Owner, owner_of
from solespan.api.storage.scope import name_changed

__all__ = [
    "address_of",
    "consents_of",
    "give",
    "hear_no_more",
    "held_consents",
    "lift_stop",
    "read_bounce",
    "report_bounce",
    "take_over",
    "wearers_at",
    "withdraw",
]


def give(session: Session, given: ConsentGiven, clock: Clock) -> bool:
    """Write down a consent; return whether it is new. Raises `NotFound`, `Refused`."""
    owner = _owner(session, given.wearer_id)
    now = clock.now()
    name_changed(wearer_id=given.wearer_id, channel=given.channel)
    if given.on is not None and given.on > clock.today(owner.time_zone):
        raise Refused(
            f"on: {given.on} lies in the future.",
            where="on",
            accepted=f"a day up to {clock.today(owner.time_zone)}",
            remedy="Write down a consent when it has been given.",
        )
    at = now if given.on is None else datetime.combine(given.on, time(12), UTC)
    return stored.give_consent(
        session,
        owner.wearer_pk,
        given.channel,
        given_at=min(at, now),
        given_how=given.how,
        given_by=given.by,
        address=given.address,
    )


def take_over(session: Session, given: ConsentGiven, clock: Clock) -> bool:
    """Write down a consent that a sheet states; return whether it is new.

    A consent that was withdrawn since does not come back. Raises `NotFound`, `Refused`.
    """
    owner = _owner(session, given.wearer_id)
    ended = stored.last_withdrawn_at(session, owner.wearer_pk, given.channel)
    if ended is not None and (given.on is None or given.on <= ended.date()):
        return False
    return give(session, given, clock)


def withdraw(session: Session, given: ConsentWithdrawn, clock: Clock) -> bool:
    """End a consent and stop what waits by that channel; return whether one held.

    Raises `NotFound`.
    """
    owner = _owner(session, given.wearer_id)
    name_changed(wearer_id=given.wearer_id, channel=given.channel)
    return _end(session, owner.wearer_pk, given.channel, given.how, clock.now())


def hear_no_more(
    session: Session, wearer_pk: int, channels: Iterable[str], how: str, now: datetime
) -> bool:
    """End every consent of a customer; return whether any held."""
    held = [_end(session, wearer_pk, channel, how, now) for channel in channels]
    return True in held


def address_of(session: Session, wearer_id: str, channel: str) -> str:
    """Return where a channel writes to a customer; empty = not known. Raises `NotFound`."""
    owner = _owner(session, wearer_id)
    known = channel in CHANNELS
    return (stored.address_at(session, owner.wearer_pk, channel) or "") if known else ""


def report_bounce(session: Session, given: BounceGiven, clock: Clock) -> int:
    """Stop an address that takes no notices; return how many customers have it."""
    now = clock.now()
    stored.stop_address(session, given.address, given.reason or "it bounced", now)
    wearers = stored.wearers_at(session, given.channel, given.address)
    for wearer_pk in wearers:
        cancel_unsent(session, wearer_pk, given.channel, BAD_ADDRESS, now)
    return len(wearers)


def read_bounce(session: Session, raw: bytes, clock: Clock) -> bool:
    """Stop the address that a mail server's report says takes no mail; return whether it did.

    Only a report counts that came back from a notice of ours, about the address it was sent to, and
    because of that mailbox. A report is easily forged, the id of a notice is not.
    """
    report = read_report(raw)
    if report is None:
        return False
    address = address_of_mail(session, report.message_id)
    status = report.failed.get((address or "").strip().lower(), "")
    if address is None or not speaks_of_mailbox(status):
        return False
    reason = f"it came back ({status})"
    report_bounce(session, BounceGiven(address=address, reason=reason), clock)
    mark_returned(session, report.message_id, reason, clock.now())
    return True


def _end(session: Session, wearer_pk: int, channel: str, how: str, now: datetime) -> bool:
    held = stored.withdraw_consent(session, wearer_pk, channel, now, how)
    cancel_unsent(session, wearer_pk, channel, "the consent was withdrawn", now)
    return held


def _owner(session: Session, wearer_id: str) -> Owner:
    owner = owner_of(session, "wearer_id", wearer_id, lock=True)
    if owner is None:
        raise unknown_id(session, "wearers", "wearer_id", wearer_id)
    return owner
