"""Sheet import page: how is a person's sheet read, what is open, and what came of each row?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from solespan.dashboards import wording
from solespan.dashboards.pages.importing.importing import COUNTED, ROWS_SHOWN

__all__ = ["column_field", "question_field", "sheet_page", "taken_page"]

ROWS_OF_A_GROUP = 50
PAIRS_SHOWN = 60
COLUMNS_SHOWN = 150
TABLE_WORDS = {
    "wearers": "Wearers",
    "pairs": "Pairs",
    "soles": "Soles",
    "wear_days": "Wears",
    "checks": "Checks",
    "bench_jobs": "Bench jobs",
    "layers": "Layers",
}


COLUMN_WORDS = {
    "wearer_id": "wearer",
    "pair_id": "pair",
    "sole_id": "sole",
    "job_id": "job",
    "layer_id": "layer",
    "nominal_thickness_mm": "thickness when new, mm",
    "limit_mm": "limit, mm",
    "value_mm": "thickness, mm",
    "price_minor": "price",
    "size_eu": "size, EU",
}


def question_field(number: int) -> str:
    """Name the form's field of a question."""
    return f"q-{number}"


def column_field(number: int) -> str:
    """Name the form's field of a column."""
    return f"c-{number}"


def sheet_page(report: Mapping[str, Any]) -> dict[str, Any]:
    """Gather the page that asks before sheets are taken, from a report with its `reading`."""
    reading = report["reading"]
    counts = _counts(reading)
    good = sum(of["new"] + of["updated"] for of in report["counts"].values())
    return {
        "lead": _lead(counts, good),
        "files": wording.joined(reading["files"]),
        "known_before": reading["known_before"],
        "questions": [
            {**one, "field": question_field(number)}
            for number, one in enumerate(reading["questions"])
        ],
        "sheets": _columns_by_sheet(reading["columns"]),
        "preview": [
            {
                "name": TABLE_WORDS[one["table"]],
                "count": one["count"],
                "headings": [COLUMN_WORDS.get(c, c.replace("_", " ")) for c in one["columns"]],
                "rows": [
                    [
                        (_cell(column, text), guess)
                        for column, (text, guess) in zip(one["columns"], row, strict=True)
                    ]
                    for row in one["rows"]
                ],
            }
            for one in reading["preview"]
        ],
        "assumed": _groups(report),
        "consents": [
            f"{wording.plural(count, 'consent')} to notices by {channel.replace('_', ' ')}."
            for channel, count in reading["consents"].items()
        ],
        "notes": reading["notes"],
        "notes_cut": reading["notes_cut"],
        "good": good,
        "refused": counts["refused"],
        **_not_taken(report),
    }


def taken_page(report: Mapping[str, Any]) -> dict[str, Any]:
    """Gather the page that tells what was taken, from a report with its `reading`."""
    reading = report["reading"]
    new = {name: of["new"] for name, of in report["counts"].items() if of["new"]}
    total = {name: sum(of[name] for of in report["counts"].values()) for name in COUNTED}
    words = [f"{TABLE_WORDS.get(name, name)}: {count}" for name, count in new.items()]
    return {
        "lead": f"Taken: {total['new']} new and {total['updated']} changed records."
        if total["updated"]
        else f"Taken: {total['new']} new records.",
        "new": words,
        "pairs": reading["pairs"][:PAIRS_SHOWN],
        "pairs_more": max(0, len(reading["pairs"]) - PAIRS_SHOWN),
        "assumed": _groups(report),
        **_not_taken(report),
    }


def _cell(column: str, text: str) -> str:
    """Say a cell in words: yes and no, money in its unit, and no underscores in words of ours."""
    if column == "price_minor" and text.isdecimal():
        return f"{int(text) / 100:.2f}"
    known = {"true": "yes", "false": "no"}
    return known.get(text) or (text.replace("_", " ") if text.islower() else text)


def _counts(reading: Mapping[str, Any]) -> dict[str, int]:
    return {fate: reading["counts"].get(fate, 0) for fate in ("taken", "left out", "refused")}


def _lead(counts: Mapping[str, int], good: int) -> str:
    rows = wording.plural(sum(counts.values()), "row")
    parts = [f"{counts['taken']} to take"]
    parts += [f"{counts['refused']} to correct"] if counts["refused"] else []
    parts += [f"{counts['left out']} left out"] if counts["left out"] else []
    known = "" if good or not counts["taken"] else " All of them are on the rack already."
    return f"{rows} read: {', '.join(parts)}. Nothing was changed yet.{known}"


def _columns_by_sheet(columns: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Group the columns by sheet, those in doubt first."""
    sheets: dict[str, list[dict[str, Any]]] = {}
    for number, use in enumerate(columns[:COLUMNS_SHOWN]):
        name = f"{use['file']}, {use['sheet']}" if use["sheet"] else use["file"]
        sheets.setdefault(name, []).append({**use, "field": column_field(number)})
    return [
        {"name": name, "columns": uses, "doubt": sum(not use["sure"] for use in uses)}
        for name, uses in sheets.items()
    ]


def _groups(report: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Group assumed values that are alike: one sentence, and the pairs it is about."""
    pair_of = report["reading"]["pair_of"]
    groups: dict[tuple[str, str, str], dict[str, Any]] = {}
    for one in report["assumed"]:
        key = (one["table"], one["column"], one["words"])
        words = one["words"][:1].upper() + one["words"][1:]
        group = groups.setdefault(key, {"words": words, "count": 0, "rows": []})
        group["count"] += 1
        if len(group["rows"]) < ROWS_OF_A_GROUP:
            group["rows"].append(pair_of.get(one["id"], ["", one["id"]]))
    return list(groups.values())


def _not_taken(report: Mapping[str, Any]) -> dict[str, Any]:
    reading = report["reading"]
    fates, questioned = (
        reading["fates"],
        [row for row in report["rows"] if row["severity"] == "questioned"],
    )
    return {
        "counts": _counts(reading),
        "all_rows": reading["rows"],
        "fates": fates[:ROWS_SHOWN],
        "fates_more": max(0, len(fates) - ROWS_SHOWN) + reading["fates_left_out"],
        "rests": list(enumerate(reading["rests"])),
        "odd": questioned[:ROWS_SHOWN],
    }
