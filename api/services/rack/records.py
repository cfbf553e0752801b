"""Records service.

How is a wearer, pair, sole, wear day, check or bench job created, replaced and deleted?

Each function works inside the caller's transaction and checks the record against
`record_validation`. It marks the wearer's data as changed and returns the wearer, so that the
caller can update the forecasts. Writing the same record twice changes nothing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import uuid4

from sqlalchemy.orm import Session

from solespan.api.clock import Clock
from solespan.api.errors import Conflict, NotFound, Refused, StaleVersion
from solespan.api.services.rack.record_validation import Fault, faults_of
from solespan.api.services.shop_choices import shop_time_zone
from solespan.api.services.unknown_id import unknown_id
from solespan.api.storage.forecasts.forecast_reads import send_by_of
from solespan.api.storage.notices.hook_events import put_pair_event
from solespan.api.storage.rack import records as stored
from solespan.api.storage.rack.records import Owner, Row, find_record, list_records
from solespan.api.storage.rack.versions import raise_data_version
from solespan.api.storage.scope import name_changed
from solespan.forecast.frames import TABLES

__all__ = [
    "MOVABLE",
    "RecordRefused",
    "Written",
    "create",
    "delete",
    "find_record",
    "list_records",
    "move",
    "moved_since",
    "read",
    "replace",
    "send_by_of",
]

_TOLD_OF_SOLE = ("sole_id", "fitted_on", "material")
MOVABLE = ("wear_days", "checks")  # what can be logged on the wrong pair


@dataclass(frozen=True)
class Written:
    """What a write did: the record as stored, whether it changed, and whose it is."""

    row: Row
    outcome: str
    wearer_id: str


class RecordRefused(Refused):
    """The caller's record can be read but cannot be true; `faults` names each field."""

    def __init__(self, name: str, faults: list[Fault]) -> None:
        first = faults[0]
        super().__init__(
            f"{first.field}: {first.why}.",
            where=first.field,
            accepted=first.accepted,
            remedy=f"Correct the fields named and send the {name} record again.",
        )
        self.faults = faults


def moved_since(session: Session, pair_id: str, was: date | None) -> dict[str, str]:
    """Return what the send-by date `was` and is `now`; empty where it is not known or the same."""
    now = send_by_of(session, pair_id)
    return {} if None in (was, now) or was == now else {"was": f"{was}", "now": f"{now}"}


def read(session: Session, name: str, key: Mapping[str, Any]) -> Row:
    """Return one record. Raises `NotFound`."""
    row = stored.find_record(session, name, key)
    if row is None:
        raise NotFound(
            f"There is no such record in {name}: {'/'.join(str(part) for part in key.values())}.",
            where="the address",
            remedy=f"Look it up in the list of {name}.",
        )
    return row


def create(session: Session, name: str, values: Mapping[str, Any], clock: Clock) -> Written:
    """Create a record, or leave it when it already stands there with the same values.

    A new sole ends the one that was on the pair and had no end yet.

    Returns `Written` with outcome `created` or `unchanged`. Raises `Conflict` when the key is
    taken by other values, `RecordRefused` when it cannot be true.
    """
    table = TABLES[name]
    values = _in_the_shop_zone(session, values)
    if values[table.key[0]] is None:
        values[table.key[0]] = uuid4().hex
    key = {column: values[column] for column in table.key}
    owner = _owner(session, name, values, creating=True)
    existing = stored.find_record(session, name, key)
    if existing is not None:
        if all(existing[column] == value for column, value in values.items()):
            return Written(existing, "unchanged", owner.wearer_id if owner else key["wearer_id"])
        raise Conflict(
            f"This record is already in {name} with other values.",
            where=", ".join(table.key),
            remedy="Read it and replace it with PUT and If-Match.",
        )
    _refuse_faults(session, name, values, owner, clock)
    stored.insert_record(session, name, values, owner)
    of_pair = owner.pair_pk if name == "soles" and owner is not None else None
    if of_pair is not None and _end_earlier_sole(session, of_pair, values):
        told = {name: values[name] for name in _TOLD_OF_SOLE}
        put_pair_event(session, "sole.fitted", values["pair_id"], clock.now(), told)
    if owner is None:
        owner = _owner(session, name, values, creating=False)
    return _written(session, name, key, owner, "created")


def replace(
    session: Session,
    name: str,
    key: Mapping[str, Any],
    values: Mapping[str, Any],
    *,
    versions: frozenset[int] | None,
    clock: Clock,
) -> Written:
    """Replace values of a record of one of `versions` (None = any); ids and owner stay.

    A day, foot, point or method that belongs to the key may change. Returns `Written` with outcome
    `replaced` or `unchanged`. Raises `NotFound`, `StaleVersion`, `RecordRefused`, and `Conflict`
    when another record stands at the new key.
    """
    row = read(session, name, key)
    owner = _owner(session, name, row, creating=False)
    if versions is not None and row["version"] not in versions:
        raise _stale(name)
    values = _in_the_shop_zone(session, values)
    whole = {column: value for column, value in row.items() if column != "version"} | values
    if whole == {column: row[column] for column in whole}:
        return Written(row, "unchanged", _wearer_id(owner))
    _refuse_faults(session, name, whole, owner, clock)
    new_key = {column: whole[column] for column in key}
    if new_key != dict(key) and stored.find_record(session, name, new_key) is not None:
        raise Conflict(
            f"Another record is already in {name} there.",
            where=", ".join(key),
            accepted="a key that no record has",
            remedy="Change or delete the other record first.",
        )
    changed = stored.change_record(
        session, name, key, values, owner=_there(owner), version=row["version"]
    )
    if not changed:
        raise _stale(name)
    return _written(session, name, new_key, owner, "replaced")


def move(
    session: Session,
    name: str,
    key: Mapping[str, Any],
    pair_id: str,
    *,
    versions: frozenset[int] | None,
    clock: Clock,
) -> tuple[Written, set[str]]:
    """Move a wear day or a check to another pair; return it, and the ids of both wearers.

    Raises `NotFound`, `Refused` for another table, `StaleVersion`, `RecordRefused`, and `Conflict`
    where that pair has such a record already.
    """
    row = read(session, name, key)
    if name not in MOVABLE:
        raise Refused(
            f"A record of {name} stays with its pair.",
            where="table",
            accepted=", ".join(MOVABLE),
            remedy="Delete it there, and add it to the other pair.",
        )
    target = stored.owner_of(session, "pair_id", pair_id, lock=False)
    if target is None:
        raise unknown_id(session, "pairs", "pair_id", pair_id)
    source = _there(stored.owner_of(session, "pair_id", row["pair_id"], lock=False))
    stored.lock_wearers(session, {source.wearer_pk, target.wearer_pk})
    if versions is not None and row["version"] not in versions:
        raise _stale(name)
    if pair_id == row["pair_id"]:
        return Written(row, "unchanged", source.wearer_id), {source.wearer_id}
    whole = {column: value for column, value in row.items() if column != "version"}
    _refuse_faults(session, name, whole | {"pair_id": pair_id}, target, clock)
    new_key = {**key, "pair_id": pair_id}
    if stored.find_record(session, name, new_key) is not None:
        raise Conflict(
            "The other pair has such a record already.",
            where=", ".join(key),
            accepted="a pair without this record",
            remedy="Change or delete the record there first, or delete this one.",
        )
    values = {"pair_pk": target.pair_pk}
    if not stored.change_record(session, name, key, values, owner=source, version=row["version"]):
        raise _stale(name)
    raise_data_version(session, [source.wearer_pk])
    written = _written(session, name, new_key, target, "replaced")
    return written, {source.wearer_id, target.wearer_id}


def delete(
    session: Session,
    name: str,
    key: Mapping[str, Any],
    *,
    versions: frozenset[int] | None,
    with_all_below: bool = False,
) -> Written:
    """Delete a record that has one of `versions` (None = any).

    A wearer's pairs, or what was logged of a pair, go along only if `with_all_below`. Raises
    `NotFound`, `StaleVersion`, `Conflict`.
    """
    row = read(session, name, key)
    owner = _there(_owner(session, name, row, creating=False))
    if versions is not None and row["version"] not in versions:
        raise _stale(name)
    below = {} if with_all_below else stored.count_below(session, name, owner)
    if below:
        counted = ", ".join(f"{count} in {table}" for table, count in below.items())
        raise Conflict(
            f"Other records belong to this one: {counted}.",
            where=", ".join(key),
            remedy="Delete them first, or delete with with_all_below=true.",
        )
    if not stored.remove_record(session, name, key, owner=owner, version=row["version"]):
        raise _stale(name)
    name_changed(**key)
    raise_data_version(session, [owner.wearer_pk])
    return Written(row, "deleted", owner.wearer_id)


def _in_the_shop_zone(session: Session, values: Mapping[str, Any]) -> dict[str, Any]:
    """Return values in which a wearer without a time zone has the shop's."""
    if "time_zone" in values and values["time_zone"] is None:
        return dict(values) | {"time_zone": shop_time_zone(session)}
    return dict(values)


def _end_earlier_sole(session: Session, pair_pk: int, new: Mapping[str, Any]) -> bool:
    """End the sole that was on a pair; return whether there was one before."""
    earlier = [s for s in stored.soles_of(session, pair_pk) if s["fitted_on"] < new["fitted_on"]]
    if earlier and earlier[-1]["removed_on"] is None:
        stored.close_sole(session, earlier[-1]["sole_id"], new["fitted_on"])
    return bool(earlier)


def _owner(
    session: Session, name: str, values: Mapping[str, Any], *, creating: bool
) -> Owner | None:
    """Whose record this is, locked for the rest of the transaction; None for a new wearer."""
    column = "wearer_id" if name in ("wearers", "pairs") else "pair_id"
    if name == "pairs" and not creating:
        column = "pair_id"
    owner = stored.owner_of(session, column, values[column], lock=True)
    if owner is None and name != "wearers":
        table = "wearers" if column == "wearer_id" else "pairs"
        hint = unknown_id(session, table, column, values[column])
        raise RecordRefused(name, [Fault(column, hint.what.rstrip("."), hint.remedy)])
    return owner


def _there(owner: Owner | None) -> Owner:
    if owner is None:  # another request deleted the wearer between two statements
        raise NotFound("The wearer was deleted just now.", where="wearer_id")
    return owner


def _wearer_id(owner: Owner | None) -> str:
    return _there(owner).wearer_id


def _refuse_faults(
    session: Session, name: str, values: Mapping[str, Any], owner: Owner | None, clock: Clock
) -> None:
    pair_pk = None if owner is None else owner.pair_pk
    soles = [] if pair_pk is None else stored.soles_of(session, pair_pk)
    today = clock.today(owner.time_zone if owner else values.get("time_zone", "UTC"))
    faults = faults_of(name, values, today=today, soles=soles)
    if faults:
        raise RecordRefused(name, faults)


def _written(
    session: Session, name: str, key: Mapping[str, Any], owner: Owner | None, outcome: str
) -> Written:
    owner = _there(owner)
    name_changed(**key)
    raise_data_version(session, [owner.wearer_pk])
    return Written(read(session, name, key), outcome, owner.wearer_id)


def _stale(name: str) -> StaleVersion:
    return StaleVersion(
        f"The record in {name} has changed since it was read.",
        where="header If-Match",
        accepted="the ETag of the stored record",
        remedy="Read it again and decide again.",
    )
