"""Records of a customer, in one document, and how is all of it erased?"""

from __future__ import annotations

import base64
from datetime import date, datetime
from typing import Any

from sqlalchemy.orm import Session

from solespan.api.errors import Refused
from solespan.api.services.accounts.security_log import note, note_after
from solespan.api.services.context import AppContext
from solespan.api.services.unknown_id import unknown_id
from solespan.api.storage.accounts.customers import (
    forget_quotes,
    held_of,
    remove_customer,
    words_of,
)
from solespan.api.storage.file_space import write_file_anew
from solespan.api.storage.rack.records import owner_of
from solespan.api.storage.rack.revisions import newest_deletion
from solespan.api.storage.scope import count_as_change

__all__ = ["customer_record", "erase_customer", "hand_out", "plain_value", "refuse_unconfirmed"]


def customer_record(ctx: AppContext, wearer_id: str, *, photographs: bool = True) -> dict[str, Any]:
    """Return everything that is kept of a customer, as JSON values; photographs as base64.

    `made_at`, `wearer_id`, and `held`: rows by table. Raises `NotFound`.
    """
    with ctx.database.reading() as session:
        number = _number(session, wearer_id, lock=False)
        held = held_of(session, number, photographs=photographs)
    return {
        "made_at": ctx.clock.now().isoformat(),
        "wearer_id": wearer_id,
        "held": {
            table: [{name: plain_value(value) for name, value in row.items()} for row in rows]
            for table, rows in held.items()
            if rows
        },
    }


def hand_out(ctx: AppContext, wearer_id: str) -> dict[str, Any]:
    """Return a customer's record, and note in the audit log that it was handed out."""
    record = customer_record(ctx, wearer_id)
    if ctx.database.author is not None:
        with ctx.database.writing():
            count_as_change()
    note("export", what="one customer")
    return record


def plain_value(value: Any) -> Any:
    """Return a value as JSON holds it; bytes as base64."""
    if isinstance(value, bytes):
        return base64.b64encode(value).decode()
    return value.isoformat() if isinstance(value, date | datetime) else value


def erase_customer(ctx: AppContext, wearer_id: str) -> dict[str, Any]:
    """Erase a customer in one transaction; return `rows` by table and `file_written_anew`.

    The audit log keeps that somebody was erased, not who. Raises `NotFound`.
    """
    with ctx.database.about().writing() as session:
        number = _number(session, wearer_id, lock=True)
        held = held_of(session, number)
        words = words_of(held)
        remove_customer(session, number)
        forget_quotes(session, number, words)
        note_after(session, "erasure", customer=number)
    gone = {table: len(rows) for table, rows in held.items() if rows}
    gone.pop("stopped_addresses", None)  # a hash stays, so that nobody writes there again
    return {"rows": gone, "file_written_anew": write_file_anew(ctx.database)}


def refuse_unconfirmed(wearer_id: str, typed: str) -> None:
    """Raise `Refused` unless the customer's id was typed as the confirmation."""
    if typed.strip() != wearer_id:
        raise Refused(
            "Nothing was erased: what you typed is not this customer's id.",
            where="confirm",
            accepted=wearer_id,
            remedy="Type the id exactly as it is shown.",
        )


def _number(session: Session, wearer_id: str, *, lock: bool) -> int:
    """Return the number of a customer; of one who was deleted, while the history keeps them."""
    owner = owner_of(session, "wearer_id", wearer_id, lock=lock)
    if owner is not None:
        return owner.wearer_pk
    deleted = newest_deletion(session, "wearers", wearer_id)
    if deleted is None:
        raise unknown_id(session, "wearers", "wearer_id", wearer_id)
    return int(deleted["row_pk"])
