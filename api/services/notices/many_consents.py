"""Many consents service: how is a consent of many customers written down, with its legal basis?

Only customers count whom the way reaches and who never answered about it: a withdrawal stays one.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from pydantic import ValidationError
from sqlalchemy.orm import Session

from solespan.api.channels import CHANNELS
from solespan.api.channels.addresses import TELEPHONE
from solespan.api.clock import Clock
from solespan.api.errors import Refused
from solespan.api.schemas.notices.consents import ConsentGiven
from solespan.api.schemas.notices.many_consents import BASES, MOST_HOW, ManyConsents
from solespan.api.services.context import AppContext
from solespan.api.storage.notices.consents import give_consent, never_asked
from solespan.api.storage.scope import name_changed

__all__ = ["count_reached", "give_many", "give_to_many"]


def count_reached(session: Session) -> dict[str, int]:
    """Count, for each way, the customers whom it reaches and who never answered about it."""
    return {name: len(_reached(session, name)) for name in CHANNELS}


def give_many(ctx: AppContext, typed: Mapping[str, str]) -> int:
    """Write down what a form says of many customers; return of how many.

    Raises `Refused` where it is not confirmed, a word is missing, or they are others than shown.
    """
    channel, basis = typed.get("channel", ""), typed.get("basis", "")
    how, by = typed.get("how", "").strip(), typed.get("by", "").strip()
    if channel not in CHANNELS or basis not in BASES or not how or not by:
        raise Refused(
            "The way, the legal basis, what shows it or who writes it down is missing.",
            where="channel, basis, how, by",
            remedy="Fill in all four.",
        )
    if typed.get("sure") != "true":
        raise Refused("Nothing was written: the box was not ticked.", remedy="Tick it to confirm.")
    shown = typed.get(f"count_{channel}", "")
    count = int(shown) if re.fullmatch(r"[0-9]{1,9}", shown) else 0
    try:
        given = ManyConsents(channel=channel, basis=basis, how=how, by=by, customers=count)
    except ValidationError as error:
        raise Refused(
            "Nothing was written: what shows it, or who writes it down, is too long.",
            where="how, by",
            accepted=f"one line each, at most {MOST_HOW} characters",
            remedy="Shorten it and send again.",
        ) from error
    with ctx.database.writing() as session:
        return give_to_many(session, given, ctx.clock)


def give_to_many(session: Session, given: ManyConsents, clock: Clock) -> int:
    """Write down that all whom a way reaches agreed; return how many they are.

    Raises `Refused` if they are not as many as `given.customers`; then nothing is written.
    """
    now = clock.now()
    said = f"of many: {given.basis}; {given.how}"
    reached = _reached(session, given.channel)
    if given.customers != len(reached):
        raise Refused(
            f"Nothing was written: {given.channel} reaches {len(reached)} customers "
            f"who never answered, not {given.customers}.",
            where="customers",
            accepted=str(len(reached)),
            remedy="Look at the number again, and send if it is right.",
        )
    for row in reached:
        # the schema holds every consent to the same bounds
        one = ConsentGiven(
            wearer_id="all", channel=given.channel, how=said, by=given.by, address=row["address"]
        )
        give_consent(
            session,
            row["wearer_pk"],
            given.channel,
            given_at=now,
            given_how=one.how,
            given_by=one.by,
            address=one.address,
        )
    name_changed(channel=given.channel, customers=len(reached), basis=given.basis)
    return len(reached)


def _reached(session: Session, channel: str) -> list[dict[str, Any]]:
    """Return the customers whom a way reaches, with the address that their consent keeps."""
    kind = CHANNELS[channel].address
    found = []
    for row in never_asked(session, channel):
        address = None
        if kind.kept == "wearer" and not row["email"]:
            continue
        if kind is TELEPHONE:
            address = kind.tidy(row["phone"] or "")
            if not kind.usable(address):
                continue
        found.append({"wearer_pk": row["wearer_pk"], "address": address})
    return found
