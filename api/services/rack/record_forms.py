"""Record forms service: how does a filled-in form correct a record of the log, or delete it?

Every table is read by one rule: a field per column, ids apart. Thicknesses are typed in millimetres
or irons, prices in the major unit. A record that somebody else changed meanwhile is not
overwritten: its history tells what it says now, and what was typed stays in the form.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date
from typing import Any

from sqlalchemy.orm import Session

from solespan.api.errors import NotFound, StaleVersion
from solespan.api.schemas.edition import (
    EDITION,
    ChangedMeanwhile,
    refuse_other_edition,
    with_edition,
)
from solespan.api.schemas.forms import (
    FORM_FIELD,
    LONG_TEXTS,
    FormProblem,
    Typed,
    Values,
    millimetres,
    minor_units,
    read_record,
    uncut,
)
from solespan.api.services.context import AppContext
from solespan.api.services.rack import records
from solespan.api.services.rack.history import current_revision_id
from solespan.api.services.rack.log_forms import follow, telling
from solespan.api.services.rack.pair_names import pair_named
from solespan.api.services.rack.questions import ask
from solespan.api.storage.rack import records as stored
from solespan.forecast.frames import TABLES, Column
from solespan.forecast.values import BadValue, reader_of

__all__ = [
    "OWNING",
    "Overtaken",
    "delete_record",
    "edit_record",
    "fields_of",
    "key_of",
    "move_record",
    "record_seen",
    "refuse_stale",
]

_NOT_OF_RECORD = frozenset({"form_token", "account", "version", "sole_version", "sure"})
OWNING = ("wearers", "pairs")
_UNASKED = {"in_use_on", "advised", "continues"}
MINOR = 100


class Overtaken(FormProblem):
    """The record has changed since the form was opened; `version` is what it has now.

    `changes` are the fields that somebody else changed. `values` is the form to show again: fields
    that the person left alone have the newer values.
    """

    def __init__(self, version: int, meanwhile: ChangedMeanwhile | None = None) -> None:
        super().__init__(
            {
                "": "Somebody changed this record after you opened it, so nothing was overwritten. "
                "Your values are still here; what it says now stands in its history below. "
                "Send again to replace it."
            }
        )
        self.version = version
        self.changes = meanwhile.changes if meanwhile else ()
        self.values = meanwhile.values if meanwhile else {}


def fields_of(name: str) -> dict[str, Column]:
    """Return the columns that a form asks of a table, by the name of the field."""
    return {
        FORM_FIELD.get(c.name, c.name): c
        for c in TABLES[name].stored
        if c.kind != "id" and c.name not in _UNASKED
    }


def key_of(name: str, text: str) -> dict[str, Any]:
    """Read a record's key as the history writes it, its parts divided by `/`. Raises `NotFound`."""
    table = TABLES.get(name)
    columns = table.key if table is not None else ()
    parts = text.rsplit("/", len(columns) - 1) if len(columns) > 1 else [text]
    unknown = NotFound(
        "There is no such record.",
        where=f"{name} {text}",
        accepted=f"one of {', '.join(TABLES)}, and a key such as {'/'.join(columns) or 'its id'}",
        remedy="Choose the record on its pair's page, or see: solespan list",
    )
    if table is None or len(parts) != len(columns):
        raise unknown
    read = {}
    try:
        for column, part in zip(columns, parts, strict=True):
            kind = table.by_name[column]
            read[column] = part if kind.kind == "id" else reader_of(kind)(part)
    except BadValue as bad:
        raise unknown from bad
    return read


def record_seen(session: Session, name: str, key: Mapping[str, Any]) -> dict[str, Any]:
    """Return `row`, its `values` as a form's texts, and the count of rows `below` by table.

    Raises `NotFound`.
    """
    row = records.read(session, name, key)
    values = with_edition(_values_of(name, row)) | {"version": str(row["version"])}
    column = "wearer_id" if name == "wearers" else "pair_id"
    owner = stored.owner_of(session, column, row[column], lock=False)
    below = (
        {} if owner is None or name not in OWNING else stored.count_all_below(session, name, owner)
    )
    return {"row": row, "values": values, "below": below}


def _values_of(name: str, row: Mapping[str, Any]) -> dict[str, str]:
    """Write a record as the texts of its form."""
    return {f: _text(row[c.name], c) for f, c in fields_of(name).items()} | {"unit": "mm"}


def edit_record(
    ctx: AppContext, session: Session, name: str, key: Mapping[str, Any], typed: Typed
) -> dict[str, Any]:
    """Correct a record; return its new `key` and `undo`, the id of the revision.

    Raises `NotFound`, and `FormProblem`: `Overtaken` where somebody changed it meanwhile.
    """
    row = records.read(session, name, key)
    values = _read(name, row, typed)
    refuse_stale(row, typed, now=lambda: _values_of(name, row))
    ask(ctx, session, name, [row | values], typed, instead_of=row)
    asked = {k: v for k, v in values.items() if k in {c.name for c in fields_of(name).values()}}
    try:
        with telling(name):
            written = records.replace(
                session, name, key, asked, versions=frozenset({row["version"]}), clock=ctx.clock
            )
    except StaleVersion as stale:  # pragma: no cover - only between two statements
        raise Overtaken(row["version"]) from stale
    if written.outcome == "unchanged":
        return {"key": _plain(key), "undo": "", "needs_fit": False}
    needs_fit = follow(ctx, session, written.wearer_id)
    new_key = {column: written.row[column] for column in key}
    return {"key": _plain(new_key), "undo": current_revision_id(), "needs_fit": needs_fit}


def move_record(
    ctx: AppContext, session: Session, name: str, key: Mapping[str, Any], typed: Typed
) -> dict[str, Any]:
    """Move a record to the pair named in `pair`; return its new `key` and `undo`.

    Raises `NotFound`, `Refused`, `Conflict`, `RecordRefused`, and `Overtaken`.
    """
    refuse_stale(records.read(session, name, key), typed)
    pair_id = pair_named(session, typed.get("pair", "").strip())
    written, wearers = records.move(session, name, key, pair_id, versions=None, clock=ctx.clock)
    new_key = {column: written.row[column] for column in key}
    if written.outcome == "unchanged":
        return {"key": _plain(new_key), "undo": "", "needs_fit": False}
    left = [follow(ctx, session, wearer_id) for wearer_id in sorted(wearers)]
    return {"key": _plain(new_key), "undo": current_revision_id(), "needs_fit": any(left)}


def delete_record(
    ctx: AppContext, session: Session, name: str, key: Mapping[str, Any], typed: Typed
) -> dict[str, Any]:
    """Delete a record; return `undo`, the id of the revision.

    A wearer or a pair goes with all that belongs to it, if `sure` is ticked. Raises `NotFound`,
    `FormProblem`.
    """
    row = records.read(session, name, key)
    if name in OWNING and typed.get("sure") != "true":
        raise FormProblem({"sure": "tick the box: everything below goes along"})
    refuse_stale(row, typed)
    gone = records.delete(
        session, name, key, versions=frozenset({row["version"]}), with_all_below=name in OWNING
    )
    if name != "wearers":
        follow(ctx, session, gone.wearer_id)
    return {"undo": current_revision_id(), "needs_fit": False}


def refuse_stale(
    row: Mapping[str, Any],
    typed: Typed,
    field: str = "version",
    *,
    now: Callable[[], Typed] | None = None,
) -> None:
    """Raise `Overtaken` unless the form was opened on this version of a record.

    `now` gives the texts of its form as they are now.
    """
    if typed.get(field, str(row["version"])) == str(row["version"]):
        return
    if now is not None and EDITION in typed:
        try:
            refuse_other_edition(typed, now(), _NOT_OF_RECORD)
        except ChangedMeanwhile as meanwhile:
            raise Overtaken(row["version"], meanwhile) from meanwhile
    raise Overtaken(row["version"])


def _read(name: str, row: Mapping[str, Any], typed: Typed) -> Values:
    fields = fields_of(name)
    asked = {c.name for c in fields.values()}
    known = {c.name: row[c.name] for c in TABLES[name].stored if c.name not in asked}
    texts = dict(typed)
    for field, column in fields.items():
        if column.unit == "mm":
            texts[field] = millimetres(typed.get(field, ""), typed.get("unit", "mm"))
    if price := typed.get("price", "").strip():
        texts["price"] = str(minor_units(price))
    read = read_record(name, texts, known)
    texts_of = (c.name for c in fields.values() if c.kind == "text" and c.name not in LONG_TEXTS)
    return read | {column: uncut(read[column], row[column]) for column in texts_of}


def _text(value: Any, column: Column) -> str:
    if value is None:
        return ""
    if column.name == "price_minor":
        return f"{value / MINOR:.2f}"
    if column.kind == "flag":
        return "true" if value else ""
    return f"{value:g}" if isinstance(value, float) else str(value)


def _plain(key: Mapping[str, Any]) -> dict[str, str]:
    return {k: v.isoformat() if isinstance(v, date) else str(v) for k, v in key.items()}
