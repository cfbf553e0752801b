"""History service: how was a record before, and how is a change, a deletion or an import undone?

A revision is everything that one request, command or import changed. Undoing one makes each of its
rows what it was, in the caller's transaction, and the forecasts follow. It is refused where a later
change stands on it; nothing is lost silently. The history forgets after `HISTORY_DAYS`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from solespan.api.errors import Conflict, NotFound
from solespan.api.services.context import AppContext
from solespan.api.services.rack import records
from solespan.api.services.rack.record_validation import faults_of
from solespan.api.storage.rack import records as stored
from solespan.api.storage.rack import revisions
from solespan.api.storage.rack.restoration import RowGone, take_back
from solespan.api.storage.rack.versions import raise_data_version
from solespan.api.storage.scope import current_revision_id, name_changed
from solespan.forecast.frames import TABLES

__all__ = [
    "HISTORY_DAYS",
    "ChangedSince",
    "current_revision_id",
    "key_text",
    "last_change",
    "list_changes",
    "put_back",
    "record_history",
    "restore",
    "thing",
    "undo",
    "undo_import",
]

HISTORY_DAYS = 30
MOST_WEARERS = 20  # with more of them, forecasts follow in the background
MOST_CHECKED = 500
MOST_TOLD = 8
_UNTOLD = ("id", "tenant_pk", "version", "data_version", "created_at", "updated_at")


class ChangedSince(Conflict):
    """What is to be undone was changed again later; `later` lists what stands on it."""

    def __init__(self, later: Sequence[str]) -> None:
        told = "; ".join(later[:MOST_TOLD])
        more = f"; and {len(later) - MOST_TOLD} more" if len(later) > MOST_TOLD else ""
        super().__init__(
            f"Later changes stand on this one: {told}{more}.",
            where="the revision",
            accepted="a change that nothing later stands on",
            remedy="Undo or delete those first, or correct the record itself.",
        )
        self.later = list(later)
        self.extensions = {"later": self.later}


def thing(name: str) -> str:
    """Name one record of a table in words."""
    return {"bench_orders": "booking", "bench_jobs": "repair", "care_done": "care"}.get(
        name, name.removesuffix("s").replace("_", " ")
    )


def key_text(name: str, key: Mapping[str, Any]) -> str:
    """Write a record's key as the history keeps it."""
    columns = TABLES[name].key if name in TABLES else tuple(key)
    return "/".join(str(key[column]) for column in columns)


def last_change(session: Session, name: str, key: Mapping[str, Any]) -> dict[str, Any] | None:
    """Return `actor` and `at` of the newest change of a row; None where none is kept."""
    pk = revisions.pk_of_record(session, name, key)
    lines = [] if pk is None else revisions.changes_of_row(session, name, pk)
    return {"actor": lines[0]["actor"], "at": lines[0]["at"]} if lines else None


def undo(ctx: AppContext, session: Session, revision_id: str) -> dict[str, Any]:
    """Undo one revision; return `revision_id` of the undoing and whether a fit is needed.

    Raises `NotFound`, and `ChangedSince` where a later change stands on it. Raises `Conflict` where
    it was undone already, another record has taken a key, or the result cannot be true.
    """
    revision = revisions.find_revision(session, revision_id, lock=True)
    if revision is None:
        raise NotFound(
            "This change is not in the history.",
            where="revision_id",
            remedy=f"Changes are kept for {HISTORY_DAYS} days. Look it up in the list of changes.",
        )
    if revision["undone_at"] is not None:
        raise Conflict(
            "This change was undone already.",
            where="revision_id",
            remedy="Look at the record as it is now.",
        )
    touched = revisions.wearers_touched(session, revision["id"])
    stored.lock_wearers(session, touched)
    if later := _standing_on(session, revision["id"]):
        raise ChangedSince(later)
    lines = revisions.kept_lines(session, revision["id"], MOST_CHECKED)
    try:
        take_back(session, revision, ctx.clock.now())
        session.flush()
    except RowGone as gone:
        raise ChangedSince([f"{thing(gone.table_name)} {gone.record_key} is gone"]) from gone
    except IntegrityError as cause:
        raise Conflict(
            "Another record has taken the place of a deleted one, or what it belonged to is gone.",
            where="revision_id",
            accepted="a free place, and the record that it belonged to",
            remedy="Delete the other record, or restore the pair or wearer first.",
        ) from cause
    _refuse_untrue(ctx, session, lines)
    name_changed(undone=revision_id)
    return {
        "revision_id": current_revision_id(),
        "needs_fit": _follow(ctx, session, touched),
    }


def undo_import(ctx: AppContext, session: Session, import_id: str) -> dict[str, Any]:
    """Undo a whole import; see `undo`. It cannot be undone apart from what stands on it."""
    revision_id = revisions.revision_of_import(session, import_id)
    if revision_id is None:
        raise NotFound(
            "There is no import with this id that can be undone.",
            where="import_id",
            remedy=f"An import can be undone for {HISTORY_DAYS} days.",
        )
    return undo(ctx, session, revision_id)


def restore(ctx: AppContext, session: Session, name: str, record_key: str) -> dict[str, Any]:
    """Restore a deleted record by its key, with all that was deleted along; see `undo`."""
    deletion = revisions.newest_deletion(session, name, record_key)
    if deletion is None:
        raise NotFound(
            f"There is no deleted {thing(name)} {record_key!r}.",
            where="the address",
            remedy=f"Deleted records are kept for {HISTORY_DAYS} days.",
        )
    return undo(ctx, session, deletion["revision_id"])


def put_back(
    ctx: AppContext,
    session: Session,
    name: str,
    key: Mapping[str, Any],
    line: int,
    versions: frozenset[int] | None,
) -> records.Written:
    """Give a record of the log the values that it had before one of its changes.

    Raises `NotFound`, `StaleVersion`, `RecordRefused`, `Conflict`.
    """
    earlier = next(
        (e for e in record_history(session, name, key)["entries"] if e["line"] == line), None
    )
    if earlier is None or earlier["before"] is None:
        raise NotFound(
            "There is no such earlier state of this record.",
            where="line",
            remedy=f"States are kept for {HISTORY_DAYS} days.",
        )
    earlier_pair = earlier["before"].get("pair_id")
    left: set[str] = set()
    if earlier_pair and name in records.MOVABLE and earlier_pair != key["pair_id"]:
        moved, left = records.move(
            session, name, key, earlier_pair, versions=versions, clock=ctx.clock
        )
        key, versions = {**key, "pair_id": earlier_pair}, frozenset({moved.row["version"]})
    columns = {c.name for c in TABLES[name].stored if c.kind != "id"}
    values = {k: v for k, v in earlier["before"].items() if k in columns}
    written = records.replace(session, name, key, values, versions=versions, clock=ctx.clock)
    if written.outcome != "unchanged":
        left.add(written.wearer_id)
    for wearer_id in sorted(left):
        ctx.forecaster.update_wearer(session, wearer_id)
    return written


def record_history(session: Session, name: str, key: Mapping[str, Any]) -> dict[str, Any]:
    """Return `now` (the stored values or None) and `entries`, newest first.

    An entry has `line`, `kind`, `at`, `actor`, `revision_id`, `undone`, `is_undoing`, and the
    values `before` and `after` it. Raises `NotFound` where the record neither is there nor is kept
    as deleted.
    """
    record_key = key_text(name, key)
    row_pk = revisions.pk_of_record(session, name, key)
    if row_pk is None:
        deletion = revisions.newest_deletion(session, name, record_key)
        if deletion is None:
            raise NotFound(
                f"There is no {thing(name)} {record_key!r}, and none was deleted lately.",
                where="the address",
                remedy=f"Deleted records are kept for {HISTORY_DAYS} days.",
            )
        row_pk = deletion["row_pk"]
    now = revisions.row_with_pair(session, name, row_pk)
    entries, after = [], now
    lines = revisions.changes_of_row(session, name, row_pk)
    _name_pairs(session, now, [line["before"] for line in lines if line["before"]])
    for line in lines:
        entries.append(
            {
                "line": line["id"],
                "revision_id": line["revision_id"],
                "kind": line["kind"],
                "at": line["at"],
                "actor": line["actor"],
                "undone": line["undone_at"] is not None,
                "is_undoing": line["undoes"] is not None,
                "before": _told(line["before"]),
                "after": None if line["kind"] == "deleted" else _told(after),
            }
        )
        after = line["before"]
    return {"key": record_key, "now": _told(now), "entries": entries}


def _name_pairs(
    session: Session, now: Mapping[str, Any] | None, befores: Sequence[dict[str, Any]]
) -> None:
    """Give rows that belonged to several pairs the id of their pair."""
    rows = [*([now] if now else []), *befores]
    pks = {row["pair_pk"] for row in rows if row.get("pair_pk") is not None}
    if len(pks) > 1:
        ids = revisions.pair_ids_of(session, pks)
        for row in befores:
            row["pair_id"] = ids.get(row["pair_pk"])


def _told(row: Mapping[str, Any] | None) -> dict[str, Any] | None:
    if row is None:
        return None
    return {k: v for k, v in row.items() if k not in _UNTOLD and not k.endswith("_pk")}


def list_changes(
    session: Session, *, below_id: int | None, limit: int, only: str = ""
) -> list[dict[str, Any]]:
    """Return revisions newest first, each with `parts`: table, kind, rows.

    A part of one record has its `record_key`, its `label` or its pair's, and the values `row`.
    `only` is `deletions` or `imports` for those alone that still hold.
    """
    found = revisions.list_revisions(session, below_id=below_id, limit=limit, only=only)
    parts: dict[int, list[dict[str, Any]]] = {}
    for part in revisions.counts_of(session, [one["id"] for one in found]):
        shown = {k: part[k] for k in ("kind", "rows", "record_key", "label", "row")}
        shown["record_key"] = part["record_key"] if part["rows"] == 1 else None
        parts.setdefault(part["revision_pk"], []).append({"table": part["table_name"]} | shown)
    return [
        {
            "id": one["id"],
            "revision_id": one["revision_id"],
            "at": one["at"],
            "actor": one["actor"],
            "action": one["action"],
            "import_id": one["import_id"],
            "source": one["source"],
            "undone_at": one["undone_at"],
            "is_undoing": one["undoes"] is not None,
            "parts": parts.get(one["id"], []),
        }
        for one in found
    ]


def _standing_on(session: Session, revision_pk: int) -> list[str]:
    """Say what stands on a revision: rows changed again, and rows that belong to its new ones."""
    told = [
        f"{thing(row['table_name'])} {row['record_key'] or ''}".strip() + f" was {row['kind']}"
        for row in revisions.later_changes(session, revision_pk)
    ]
    for name, count in revisions.rows_on_top(session, revision_pk).items():
        what = thing(name) if count == 1 else f"{thing(name)}s"
        told.append(f"{count} {what} logged since")
    return list(dict.fromkeys(told))


def _refuse_untrue(ctx: AppContext, session: Session, lines: Iterable[Mapping[str, Any]]) -> None:
    """Refuse restored records that cannot be true beside what was logged meanwhile."""
    lines = list(lines)
    whole = {line["row_pk"] for line in lines if line["table_name"] == "pairs"}
    for line in lines:
        name = line["table_name"]
        if name not in TABLES or name in ("wearers", "pairs"):
            continue
        row = revisions.row_with_pair(session, name, line["row_pk"])
        if row is None or row["pair_pk"] in whole:
            continue
        owner = stored.owner_of(session, "pair_id", row["pair_id"], lock=False)
        zone = "UTC" if owner is None else owner.time_zone
        soles = stored.soles_of(session, row["pair_pk"])
        if faults := faults_of(name, row, today=ctx.clock.today(zone), soles=soles):
            raise Conflict(
                f"The {thing(name)} {line['record_key']} cannot be true any more: {faults[0].why}.",
                where=faults[0].field,
                accepted=faults[0].accepted,
                remedy="Correct what was logged since, and undo again.",
            )


def _follow(ctx: AppContext, session: Session, touched: set[int]) -> bool:
    """Mark the data of these wearers as changed; bring few of them up to date at once."""
    if len(touched) > MOST_WEARERS:
        raise_data_version(session, touched)
        return True
    there = {pk: wearer_id for pk in touched if (wearer_id := stored.wearer_id_of(session, pk))}
    raise_data_version(session, list(there))
    for wearer_id in there.values():
        ctx.forecaster.update_wearer(session, wearer_id)
    return bool(there) and ctx.forecaster.newest_fit(session) is None
