"""Wear batch service: how are many wear days put and removed in one transaction, or none of them?

A wear day that is put creates the day, or replaces the version that it names. Whatever stands as it
is wanted is left alone, so the same batch twice changes nothing. `records` writes every row.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy.orm import Session

from solespan.api.clock import Clock
from solespan.api.errors import Conflict, SolespanError, StaleVersion
from solespan.api.services.rack import records
from solespan.api.services.rack.record_validation import Fault
from solespan.api.services.rack.records import RecordRefused, Written
from solespan.api.services.unknown_id import unknown_id
from solespan.api.storage.rack.records import find_record, owner_of

__all__ = ["BatchWritten", "write_batch"]

NAME = "wear_days"
OUTCOMES = ("created", "replaced", "deleted", "unchanged")


@dataclass
class BatchWritten:
    """What a batch did: rows by outcome, and the wearers whose data changed."""

    counts: dict[str, int] = field(default_factory=lambda: dict.fromkeys(OUTCOMES, 0))
    wearer_ids: set[str] = field(default_factory=set)


def write_batch(
    session: Session,
    put: Sequence[Mapping[str, Any]],
    remove: Sequence[Mapping[str, Any]],
    clock: Clock,
) -> BatchWritten:
    """Put and remove wear days in the caller's transaction.

    Parameters
    ----------
    put
        Whole wear days. `version` names the stored version that one replaces; None = the day is not
        logged yet.
    remove
        `pair_id` and `worn_on`, with `version` as above; None = whichever stands there.

    Raises `RecordRefused` with every row that cannot be true. Raises `Conflict` and `StaleVersion`
    with the first row that stands otherwise. The transaction must not be kept then.
    """
    _refuse_doubles(put, remove)
    _lock_wearers(session, {str(row["pair_id"]) for row in (*put, *remove)})
    done = BatchWritten()
    faults: list[Fault] = []
    for list_name, rows, work in (("put", put, _put), ("remove", remove, _remove)):
        for number, row in enumerate(rows):
            try:
                written = work(session, row, clock)
            except RecordRefused as refused:
                faults += [
                    Fault(f"{list_name}/{number}/{fault.field}", fault.why, fault.accepted)
                    for fault in refused.faults
                ]
            except (Conflict, StaleVersion) as error:
                raise _placed(error, f"{list_name}/{number}") from error
            else:
                done.counts[written.outcome if written else "unchanged"] += 1
                if written and written.outcome != "unchanged":
                    done.wearer_ids.add(written.wearer_id)
    if faults:
        raise RecordRefused(NAME, faults)
    return done


def _put(session: Session, row: Mapping[str, Any], clock: Clock) -> Written | None:
    values = {column: value for column, value in row.items() if column != "version"}
    version = row.get("version")
    if version is None:
        return records.create(session, NAME, values, clock)
    key, rest = _key(values), {c: v for c, v in values.items() if c not in ("pair_id", "worn_on")}
    stored = find_record(session, NAME, key)
    if stored is None:
        raise StaleVersion(
            "The wear day was deleted since it was read.",
            where="",
            remedy="Leave out its version to log it again.",
        )
    if all(stored[column] == value for column, value in values.items()):
        return None
    return records.replace(session, NAME, key, rest, versions=frozenset({version}), clock=clock)


def _remove(session: Session, row: Mapping[str, Any], _clock: Clock) -> Written | None:
    key, version = _key(row), row.get("version")
    if find_record(session, NAME, key) is None:
        if owner_of(session, "pair_id", row["pair_id"], lock=False) is None:
            hint = unknown_id(session, "pairs", "pair_id", row["pair_id"])
            raise RecordRefused(NAME, [Fault("pair_id", hint.what.rstrip("."), hint.remedy)])
        return None
    versions = None if version is None else frozenset({version})
    return records.delete(session, NAME, key, versions=versions)


def _key(row: Mapping[str, Any]) -> dict[str, Any]:
    return {"pair_id": row["pair_id"], "worn_on": row["worn_on"]}


def _refuse_doubles(put: Sequence[Mapping[str, Any]], remove: Sequence[Mapping[str, Any]]) -> None:
    counts = Counter((row["pair_id"], row["worn_on"]) for row in (*put, *remove))
    faults = [
        Fault(f"{list_name}/{number}/worn_on", "this pair and day are named twice", "each day once")
        for list_name, rows in (("put", put), ("remove", remove))
        for number, row in enumerate(rows)
        if counts[row["pair_id"], row["worn_on"]] > 1
    ]
    if faults:
        raise RecordRefused(NAME, faults)


def _lock_wearers(session: Session, pair_ids: set[str]) -> None:
    """Lock every wearer in one order, so that two batches never wait for each other."""
    owners = [owner_of(session, "pair_id", pair_id, lock=False) for pair_id in pair_ids]
    for wearer_id in sorted({owner.wearer_id for owner in owners if owner is not None}):
        owner_of(session, "wearer_id", wearer_id, lock=True)


def _placed(error: Conflict | StaleVersion, where: str) -> SolespanError:
    """Say which row of the batch stands otherwise."""
    return type(error)(
        f"{where}: {error.what}", where=where, accepted=error.accepted, remedy=error.remedy
    )
