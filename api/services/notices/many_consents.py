"""Many consents service: how is a consent of many customers written down, with its legal basis?

Only customers count whom the way reaches and who never answered about it: a withdrawal stays one.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy.orm import Session

from solespan.api.channels import CHANNELS
from solespan.api.channels.addresses import TELEPHONE
from solespan.api.errors import Refused
from solespan.api.schemas.notices.notices import ConsentGiven
from solespan.api.services.context import AppContext
from solespan.api.storage.notices.consents import give_consent, never_asked
from solespan.api.storage.scope import name_changed

__all__ = ["BASES", "count_reached", "give_many"]

# Regulation (EU) 2016/679, Article 6(1), from memory: the points that a shop can name here.
BASES = (
    "consent, GDPR Article 6(1)(a)",
    "contract, GDPR Article 6(1)(b)",
    "legitimate interest, GDPR Article 6(1)(f)",
    "another, as stated",
)


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
    now = ctx.clock.now()
    said = f"of many: {basis}; {how}"[:200]
    with ctx.database.writing() as session:
        reached = _reached(session, channel)
        if typed.get(f"count_{channel}") != str(len(reached)):
            raise Refused(
                "Nothing was written: meanwhile these customers are others.",
                remedy="Look at the number again, and send if it is right.",
            )
        for row in reached:
            # the schema holds every consent to the same bounds
            given = ConsentGiven(
                wearer_id="all", channel=channel, how=said, by=by, address=row["address"]
            )
            give_consent(
                session,
                row["wearer_pk"],
                channel,
                given_at=now,
                given_how=given.how,
                given_by=given.by,
                address=given.address,
            )
        name_changed(channel=channel, customers=len(reached), basis=basis)
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
