"""Record batch service: how are many records put and removed in one transaction, or none of them?

A record that is put is created, or replaces the version that it names. Whatever stands as it is
wanted is left alone, so the same batch twice changes nothing. `records` writes every row.
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
from solespan.forecast.frames import TABLES

__all__ = ["BatchWritten", "write_batch"]

OUTCOMES = ("created", "replaced", "deleted", "unchanged")


@dataclass
class BatchWritten:
    """What a batch did: rows by outcome, and the wearers whose data changed."""

    counts: dict[str, int] = field(default_factory=lambda: dict.fromkeys(OUTCOMES, 0))
    wearer_ids: set[str] = field(default_factory=set)


def write_batch(
    session: Session,
    name: str,
    put: Sequence[Mapping[str, Any]],
    remove: Sequence[Mapping[str, Any]],
    clock: Clock,
) -> BatchWritten:
    """Put and remove records of one table in the caller's transaction.

    Parameters
    ----------
    put
        Whole records. `version` names the stored version that one replaces; None = there is no such
        record yet.
    remove
        Keys, with `version` as above; None = whichever stands there.

    Raises `RecordRefused` with every row that cannot be true. Raises `Conflict` and `StaleVersion`
    with the first row that stands otherwise. The transaction must not be kept then.
    """
    _refuse_doubles(name, put, remove)
    _lock_wearers(session, name, (*put, *remove))
    done = BatchWritten()
    faults: list[Fault] = []
    for list_name, rows, work in (("put", put, _put), ("remove", remove, _remove)):
        for number, row in enumerate(rows):
            try:
                written = work(session, name, row, clock)
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
        raise RecordRefused(name, faults)
    return done


def _put(session: Session, name: str, row: Mapping[str, Any], clock: Clock) -> Written | None:
    values = {column: value for column, value in row.items() if column != "version"}
    version = row.get("version")
    if version is None:
        return records.create(session, name, values, clock)
    key = _key(name, values)
    stored = find_record(session, name, key)
    if stored is None:
        raise StaleVersion(
            "The record was deleted since it was read.",
            where="",
            remedy="Leave out its version to create it again.",
        )
    if all(stored[column] == value for column, value in values.items()):
        return None
    rest = {c: v for c, v in values.items() if c not in key}
    moved = [c for c in ("wearer_id", "pair_id") if c in rest and rest[c] != stored[c]]
    if moved:
        why = "a record stays with its owner and pair"
        raise RecordRefused(name, [Fault(moved[0], why, str(stored[moved[0]]))])
    rest = {c: v for c, v in rest.items() if c not in ("wearer_id", "pair_id")}
    return records.replace(session, name, key, rest, versions=frozenset({version}), clock=clock)


def _remove(session: Session, name: str, row: Mapping[str, Any], _clock: Clock) -> Written | None:
    key, version = _key(name, row), row.get("version")
    if find_record(session, name, key) is None:
        pair_id = "" if name == "pairs" else key.get("pair_id", "")
        if pair_id and owner_of(session, "pair_id", pair_id, lock=False) is None:
            hint = unknown_id(session, "pairs", "pair_id", pair_id)
            raise RecordRefused(name, [Fault("pair_id", hint.what.rstrip("."), hint.remedy)])
        return None
    versions = None if version is None else frozenset({version})
    return records.delete(session, name, key, versions=versions)


def _key(name: str, row: Mapping[str, Any]) -> dict[str, Any]:
    return {column: row[column] for column in TABLES[name].key}


def _refuse_doubles(
    name: str, put: Sequence[Mapping[str, Any]], remove: Sequence[Mapping[str, Any]]
) -> None:
    last = TABLES[name].key[-1]
    counts = Counter(tuple(_key(name, row).values()) for row in (*put, *remove))
    faults = [
        Fault(f"{list_name}/{number}/{last}", "this record is named twice", "each record once")
        for list_name, rows in (("put", put), ("remove", remove))
        for number, row in enumerate(rows)
        if row[last] is not None and counts[tuple(_key(name, row).values())] > 1
    ]
    if faults:
        raise RecordRefused(name, faults)


def _lock_wearers(session: Session, name: str, rows: Sequence[Mapping[str, Any]]) -> None:
    """Lock every wearer in one order, so that two batches never wait for each other."""
    wearers = {str(row["wearer_id"]) for row in rows if row.get("wearer_id")}
    pairs = {str(row["pair_id"]) for row in rows if row.get("pair_id")}
    if name in ("soles", "bench_jobs", "layers"):  # a key alone does not name the pair
        found = [find_record(session, name, _key(name, row)) for row in rows]
        pairs |= {str(row["pair_id"]) for row in found if row is not None}
    owners = [owner_of(session, "pair_id", pair_id, lock=False) for pair_id in sorted(pairs)]
    wearers |= {owner.wearer_id for owner in owners if owner is not None}
    for wearer_id in sorted(wearers):
        owner_of(session, "wearer_id", wearer_id, lock=True)


def _placed(error: Conflict | StaleVersion, where: str) -> SolespanError:
    """Say which row of the batch stands otherwise."""
    return type(error)(
        f"{where}: {error.what}", where=where, accepted=error.accepted, remedy=error.remedy
    )
