"""Record page: which fields correct a record, how was it before, and what was changed lately?

Takes columns, values and history entries as plain values, and gives words.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

import pandas as pd

from solespan.dashboards import wording
from solespan.dashboards.pages.rack.add import sole_choices
from solespan.forecast.columns import Column
from solespan.forecast.covariates import REGISTER
from solespan.forecast.frames import MATERIALS

__all__ = ["changes_page", "history_lines", "record_fields", "record_title", "table_word"]

WORDS = {
    "bench_orders": "booking",
    "bench_jobs": "repair",
    "bench_events": "step of a booking",
    "bench_papers": "paper",
    "bench_photos": "photograph",
    "care_done": "care",
    "care_rules": "care rule",
    "resole_routes": "way to a new sole",
    "pair_traits": "upper and season",
    "stock_moves": "stock line",
}
LABELS = {
    "pair_id": "Pair",
    "name": "Name",
    "time_zone": "Time zone",
    "driving_foot": "Foot that turns at the wheel",
    "email": "E-mail",
    "wears_per_week": "Times a week, if nobody logs",
    "fitted_on": "Day it was fitted",
    "material": "Sole",
    "thickness": "Thickness when new",
    "limit": "Limit at the ball, empty = usual",
    "cover": "What it covers",
    "channel": "How the stitch lies",
    "assumed": "Material, thickness or day is assumed, not known",
    "layer": "Layer",
    "thickness_mm": "Thickness now (mm)",
    "seam": "How it is held",
    "earlier_seams": "Seams before the first sole here",
    "removed_on": "Day it came off, empty = still on",
    "continues": "Carries on from the sole",
    "worn_on": "Day",
    "hours": "Hours worn (h), empty = 8",
    "checked_on": "Day",
    "foot": "Foot",
    "point": "Point",
    "method": "Gauge",
    "value_mm": "Thickness, if by gauge",
    "grade": "Grade, if by thumb",
    "lug_mm": "Height of the lugs within it (mm)",
    "work": "Work",
    "received_on": "Day it was handed over",
    "promised_on": "Day promised",
    "finished_on": "Day it was finished",
    "returned_on": "Day it came back, empty = away",
    "bench_minutes": "Time on the bench (minutes)",
    "more_works": "Further works, with spaces between",
    "price": "Price",
    "price_minor": "Price",
    "currency": "Currency",
    "expected_on": "Day it should come",
    "overrule": "Reason to take a day that is not free",
    "by_post": "comes by post",
    "parcel_in": "Parcel to the shop",
    "parcel_out": "Parcel back",
    "sent_to": "Maker it is sent on to",
    "back_on": "Day it should be back from the maker",
    "warranty_of": "Redone under warranty: of the order",
    "reason": "Reason",
    "worker": "Who does it",
    "note": "Note",
    "label": "What you call it",
    "nominal_thickness_mm": "Thickness when new",
    "limit_mm": "Limit",
    "stage": "Stage",
    "in_use_on": "Said to be in use",
    "dress_code": "What it is for",
    "size_eu": "EU size",
    "size_uk": "UK size",
    "size_us": "US size",
    "maker": "Maker",
    "last": "Last",
    "colour": "Colour",
    "form": "Form",
    "kind": "Built for, empty = men",
    "tags": "Tags, separated by commas",
    "dress_week": "Dress codes from Monday on",
    "acquired_on": "Day you got it",
    "earlier_resoles": "Resoles before",
    "construction": "Construction",
    "notes": "Notes",
}
LONG_TEXTS = ("notes",)
MOST_SHOWN = 200  # characters of a text in the history
LABELS |= {one.logged.column.name: one.logged.label for one in REGISTER}
VERBS = {"created": "Added", "changed": "Changed", "deleted": "Deleted"}
UNDOING_VERBS = {"created": "Restored", "changed": "Put back", "deleted": "Taken out again"}


def table_word(name: str, count: int = 1) -> str:
    """Name records of a table: one wear day, two wear days."""
    word = WORDS.get(name, wording.spaced(name).removesuffix("s"))
    return word if count == 1 else f"{word}s"


def record_title(name: str, row: Mapping[str, Any], pair: str = "") -> str:
    """Say which record a page is about."""
    if name == "wearers":
        return f"Wearer {row['name'] or row['wearer_id']}"
    day = next(
        (
            row[c]
            for c in ("worn_on", "checked_on", "fitted_on", "received_on", "booked_on")
            if row.get(c)
        ),
        None,
    )
    when = "" if day is None else f" of {wording.long_date(pd.Timestamp(day))}"
    what = table_word(name)
    if name == "checks":
        what = f"check at the {row['point']}, {row['foot']} shoe,"
    elif name == "soles":
        when = "" if day is None else f" fitted {wording.long_date(pd.Timestamp(day))}"
    elif "work" in row:
        what = f"{wording.spaced(row['work'])}: {what}"
    return f"{what[0].upper()}{what[1:]}{when}" + (f", {pair}" if pair else "")


def record_fields(columns: Mapping[str, Column]) -> list[dict[str, Any]]:
    """Describe the fields of a form: name, kind, label, and the options of a choice."""
    return [_field(name, column) for name, column in columns.items()]


def _field(name: str, column: Column) -> dict[str, Any]:
    options: list[tuple[str, str]] = [(word, wording.spaced(word)) for word in column.words]
    if column.words == MATERIALS:
        options = sole_choices()["materials"]
    if options and not (column.required or column.default is not None):
        options = [("", "not said"), *options]
    mode = {"integer": "numeric", "number": "decimal"}.get(column.kind, "")
    if name == "price":
        mode = "decimal"
    return {
        "name": name,
        "kind": "select" if options else "long" if name in LONG_TEXTS else column.kind,
        "label": LABELS.get(name, wording.spaced(name)),
        "options": options,
        "mode": mode,
    }


def history_lines(entries: Sequence[Mapping[str, Any]], key: Sequence[str]) -> list[dict[str, Any]]:
    """Say each change of a record: when, by whom, and which values it changed from what to what."""
    lines = []
    for entry in entries:
        before, after = entry["before"] or {}, entry["after"] or {}
        changed = [
            f"{_label(name)}: {_value(name, before.get(name))} → {_value(name, after.get(name))}"
            for name in before
            if entry["kind"] == "changed" and name in after and before[name] != after[name]
        ]
        if entry["kind"] == "deleted":
            changed = [
                f"{_label(name)}: {_value(name, value)}"
                for name, value in before.items()
                if value is not None and name in LABELS
            ]
        lines.append(
            {
                "line": entry["line"],
                "revision_id": entry["revision_id"],
                "kind": entry["kind"],
                "what": (UNDOING_VERBS if entry["is_undoing"] else VERBS)[entry["kind"]],
                "when": moment(entry["at"]),
                "who": entry["actor"] or "",
                "changed": changed,
                "undone": entry["undone"],
                "key": list(key),
            }
        )
    return lines


def changes_page(changes: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Say each revision in one line: what it did to how many records, when and by whom."""
    return [
        {
            "revision_id": one["revision_id"],
            "id": one["id"],
            "import_id": one["import_id"],
            "when": moment(one["at"]),
            "who": one["actor"] or "",
            "what": _did(one),
            "undone": one["undone_at"] is not None,
            "is_undoing": one["is_undoing"],
            "record": None if one["import_id"] else _first_record(one["parts"]),
        }
        for one in changes
    ]


def _did(one: Mapping[str, Any]) -> str:
    if one["import_id"]:
        rows = sum(part["rows"] for part in one["parts"])
        source = str(one["source"]).replace("\\", "/").rstrip("/").rpartition("/")[2]
        return f"Import of {wording.plural(rows, 'record')} from {source}"
    said = []
    for kind, verb in (UNDOING_VERBS if one["is_undoing"] else VERBS).items():
        whole = any(part["table"] in ("wearers", "pairs") for part in one["parts"])
        words = [_part(part, whole=whole) for part in one["parts"] if part["kind"] == kind]
        if words:
            said.append(f"{verb}: {', '.join(words)}")
    return ". ".join(said)


def _part(part: Mapping[str, Any], *, whole: bool) -> str:
    """Name one record, or count several; `whole` says that their pair is named beside them."""
    name, row = part["table"], part["row"]
    if part["rows"] > 1:
        return f"{part['rows']:,} {table_word(name, part['rows'])}"
    if name == "wear_days" and row:
        what = f"wear day {_day(row['worn_on'])}"
    elif name == "checks" and row:
        what = f"check {_day(row['checked_on'])} at the {row['point']}, {row['foot']} shoe"
    elif name == "soles" and row:
        what = f"sole fitted {_day(row['fitted_on'])}"
    elif name in ("bench_jobs", "bench_orders") and row:
        what = f"{table_word(name)} for a {wording.spaced(row['work'])}"
    else:
        what = table_word(name)
    if name in ("wearers", "pairs"):
        return f"{what} {part['label'] or part['record_key'] or ''}".strip()
    return f"{what}, {part['label']}" if part["label"] and not whole else what


def _day(day: date) -> str:
    return wording.long_date(pd.Timestamp(day))


def _first_record(parts: Sequence[Mapping[str, Any]]) -> tuple[str, str] | None:
    """Name the record whose history a line leads to."""
    for part in parts:
        if part["rows"] == 1 and part["record_key"]:
            return part["table"], part["record_key"]
    return None


def moment(at: datetime) -> str:
    """Write a moment as a day and a time, in UTC."""
    return f"{wording.long_date(pd.Timestamp(at))}, {at:%H:%M}"


def _label(name: str) -> str:
    return LABELS.get(name, wording.spaced(name)).partition(",")[0]


def _value(name: str, value: Any) -> str:
    if value is None or value == "":
        return "not said"
    if name == "price_minor":
        return f"{value / 100:.2f}"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if name in LONG_TEXTS:
        return value if len(value) <= MOST_SHOWN else f"{value[:MOST_SHOWN]} …"
    if isinstance(value, date):
        return value.isoformat()
    return f"{value:g}" if isinstance(value, float) else wording.spaced(str(value))
