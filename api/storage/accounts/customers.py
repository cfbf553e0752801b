"""Customers storage: what does the database hold of one customer, and how does all of it go?

Which rows are a customer's is read off the foreign keys: a row belongs to them if deleting their
wearer deletes it. So a new table that hangs below a wearer is exported and erased by itself. What
only quotes them (reports, plans, the audit log, kept answers) is cleaned by `forget_quotes`.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from solespan.api.storage.change_capture import UNKEPT
from solespan.api.storage.forecasts.forecasts import drop_unfinished
from solespan.api.storage.importing.import_runs import emptied_report
from solespan.api.storage.importing.mappings import forget_mappings
from solespan.api.storage.notices.consents import address_hash
from solespan.api.storage.rack.revisions import held_before
from solespan.api.storage.tables.accounts import AuditEntry
from solespan.api.storage.tables.bench import BenchOrder, BenchPlan, StockMove
from solespan.api.storage.tables.history import RecordChange, Revision
from solespan.api.storage.tables.keys import row_keys
from solespan.api.storage.tables.notices import Consent, StoppedAddress
from solespan.api.storage.tables.rack import Root, Wearer
from solespan.api.storage.tables.results import IdempotencyKey, ImportRun

__all__ = ["ERASED", "forget_quotes", "held_of", "remove_customer", "words_of"]

ERASED = "(erased)"
SUBJECT_LENGTH = 200  # as `api.routes.http.requests` cuts what it notes in the audit log
# By these a person, their shoes or their papers are named in other places.
_NAMING = {
    *("wearer_id", "pair_id", "sole_id", "job_id", "order_id", "photo_id", "plan_id", "notice_id"),
    *("message_id", "parcel_in", "parcel_out", "name", "email", "phone", "label"),
}
_WEARERS: sa.Table = Wearer.__table__  # type: ignore[assignment]
_AUDIT: sa.Table = AuditEntry.__table__  # type: ignore[assignment]
_IMPORTS: sa.Table = ImportRun.__table__  # type: ignore[assignment]
_PLANS: sa.Table = BenchPlan.__table__  # type: ignore[assignment]
_KEYS: sa.Table = IdempotencyKey.__table__  # type: ignore[assignment]
_MOVES: sa.Table = StockMove.__table__  # type: ignore[assignment]
_ORDERS: sa.Table = BenchOrder.__table__  # type: ignore[assignment]
_CONSENTS: sa.Table = Consent.__table__  # type: ignore[assignment]
_STOPPED: sa.Table = StoppedAddress.__table__  # type: ignore[assignment]
_CHANGES: sa.Table = RecordChange.__table__  # type: ignore[assignment]
_REVISIONS: sa.Table = Revision.__table__  # type: ignore[assignment]


def _belonging(wearer_pk: int) -> dict[sa.Table, sa.ColumnElement[bool]]:
    """Return, for every table with rows of the customer, the condition that finds them."""
    found: dict[sa.Table, sa.ColumnElement[bool]] = {_WEARERS: _WEARERS.c.id == wearer_pk}
    for table in Root.metadata.sorted_tables:
        ways = [
            key.parent.in_(sa.select(key.column).where(found[key.column.table]))
            for key in row_keys(table)
            if key.ondelete == "CASCADE" and key.column.table in found
        ]
        if ways:
            found[table] = sa.or_(*ways)
    return found


def held_of(
    session: Session, wearer_pk: int, *, photographs: bool = False
) -> dict[str, list[dict[str, Any]]]:
    """Return every row of a customer by table, as people know them.

    Numbers that only the database knows become the ids that people know; hashes of secrets stay
    out, and the bytes of photographs unless asked for. `stopped_addresses` tells whether their
    address is stopped, `record_changes` how rows were before they were changed or deleted.
    """
    belonging = _belonging(wearer_pk)
    known: dict[sa.Table, dict[int, str]] = {}
    held: dict[str, list[dict[str, Any]]] = {}
    for table, mine in belonging.items():
        shown = [
            column
            for column in table.c
            if (photographs or not isinstance(column.type, sa.LargeBinary))
            and not column.name.endswith("_hash")
            and column.name != "tenant_pk"
        ]
        rows = session.execute(sa.select(*shown).where(mine).order_by(table.c.id)).mappings().all()
        public = _public_column(table)
        known[table] = {row["id"]: row[public] for row in rows} if public else {}
        held[table.name] = [_told(table, dict(row), known) for row in rows]
    kept = [row["address"] for row in held[_CONSENTS.name]]
    stopped = _stopped(session, [*(row["email"] for row in held[_WEARERS.name]), *kept])
    if stopped:
        held[_STOPPED.name] = stopped
    held[_CHANGES.name] = held_before(session, wearer_pk)
    for line in held[_CHANGES.name]:
        line["before"] = {
            name: value
            for name, value in line["before"].items()
            if not name.endswith(("_hash", "_pk"))
            and name != "id"
            and (photographs or name not in ("content", "thumbnail"))
        }
    return held


def _public_column(table: sa.Table) -> str | None:
    names = [c.name for c in table.c if c.name in _NAMING and c.name.endswith("_id")]
    return names[0] if names else None


def _told(
    table: sa.Table, row: Mapping[str, Any], known: Mapping[sa.Table, Mapping[int, str]]
) -> dict[str, Any]:
    targets = {key.parent.name: key.column.table for key in row_keys(table)}
    told = {}
    for name, value in row.items():
        if name == "id":
            continue
        target = targets.get(name)
        if target is None:
            told[name] = value
        elif target in known and _public_column(target):
            told[str(_public_column(target))] = known[target].get(value)
    return told


def _stopped(session: Session, addresses: Iterable[str | None]) -> list[dict[str, Any]]:
    hashes = [address_hash(address) for address in addresses if address]
    if not hashes:
        return []
    query = sa.select(_STOPPED.c.reason, _STOPPED.c.at)
    rows = session.execute(query.where(_STOPPED.c.address_hash.in_(hashes)))
    return [dict(row) for row in rows.mappings()]


def words_of(held: Mapping[str, list[dict[str, Any]]]) -> set[str]:
    """Return the ids, names and addresses by which this customer's rows may be named elsewhere."""
    return {
        value
        for rows in held.values()
        for row in rows
        for name, value in (row | row.get("before", {})).items()
        if name in _NAMING and isinstance(value, str) and value.strip()
    }


def _quoting(words: Collection[str]) -> re.Pattern[str]:
    longest_first = sorted(words, key=len, reverse=True)
    either = "|".join(re.escape(word) for word in longest_first)
    return re.compile(rf"(?<!\w)(?:{either})(?!\w)", re.IGNORECASE)


def _stands_in(quoting: re.Pattern[str], value: Any) -> bool:
    if isinstance(value, Mapping):
        return any(_stands_in(quoting, part) for part in (*value, *value.values()))
    if isinstance(value, list):
        return any(_stands_in(quoting, part) for part in value)
    return isinstance(value, str) and quoting.search(value) is not None


def remove_customer(session: Session, wearer_pk: int) -> None:
    """Delete a customer's rows; what is said of their orders in the stock book is emptied."""
    orders = sa.select(_ORDERS.c.id).where(_belonging(wearer_pk)[_ORDERS])
    for query in (
        sa.update(_MOVES).where(_MOVES.c.order_pk.in_(orders)).values(note=None),
        sa.delete(_WEARERS).where(_WEARERS.c.id == wearer_pk),
        sa.delete(_CHANGES).where(_CHANGES.c.wearer_pk == wearer_pk),
    ):
        session.execute(query, execution_options={UNKEPT: True})


def forget_quotes(session: Session, wearer_pk: int, words: Collection[str]) -> None:
    """Clean the tenant's other rows of a customer whom these words name.

    Every kept answer goes, as any may hold what they typed: a request that is repeated within a day
    is done again then. An import report that quotes them keeps its counts only. Audit entries keep
    when, who and what, without of whom.
    """
    session.execute(sa.delete(_KEYS))
    drop_unfinished(session)
    quoting = _quoting(words)
    _clean_imports(session, quoting)
    forget_mappings(session, lambda answers: _stands_in(quoting, answers))
    _clean_plans(session, words)
    _clean_audit(session, f"customer {wearer_pk}", words)


def _clean_imports(session: Session, quoting: re.Pattern[str]) -> None:
    query = sa.select(_IMPORTS.c.id, _IMPORTS.c.source, _IMPORTS.c.report)
    for row in session.execute(query).all():
        report, source = row.report, row.source
        if _stands_in(quoting, source):
            source = ERASED
        if _stands_in(quoting, report):
            report = emptied_report(report) | {"source": source}
        if (report, source) != (row.report, row.source):
            change = sa.update(_IMPORTS).where(_IMPORTS.c.id == row.id)
            session.execute(change.values(report=report, source=source))


def _clean_plans(session: Session, words: Collection[str]) -> None:
    for row in session.execute(sa.select(_PLANS.c.id, _PLANS.c.payload)).all():
        pairs = row.payload.get("pairs", [])
        kept = [pair for pair in pairs if pair["pair_id"] not in words]
        if len(kept) < len(pairs):
            change = sa.update(_PLANS).where(_PLANS.c.id == row.id)
            session.execute(change.values(payload={**row.payload, "pairs": kept}))


def _said(subject: Mapping[str, Any]) -> set[str]:
    said: set[str] = set()
    for value in subject.values():
        said.update(map(str, value if isinstance(value, list) else [value]))
    return said


def _clean_audit(session: Session, own_name: str, words: Collection[str]) -> None:
    # `own_name` is how `api.services.accounts.identity` signs what a customer does.
    for log in (_AUDIT, _REVISIONS):
        theirs = sa.update(log).where(log.c.actor == own_name)
        session.execute(theirs.values(actor=f"customer {ERASED}"))
    shortened = {word[:SUBJECT_LENGTH] for word in words}
    for row in session.execute(sa.select(_AUDIT.c.id, _AUDIT.c.subject)).all():
        if shortened & _said(row.subject):
            change = sa.update(_AUDIT).where(_AUDIT.c.id == row.id)
            session.execute(change.values(subject={"customer": ERASED}))
