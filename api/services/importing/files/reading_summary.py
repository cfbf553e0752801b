"""Reading summary service: how were sheets read, and what came of each row, as JSON values?

A page shows it before anything is written; a program gets it with the report.
"""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import pandas as pd

from solespan.api.services.importing.files.file_imports import FileImport
from solespan.api.services.importing.files.rest_files import write_rest
from solespan.api.services.importing.sheets.translation import LEFT_OUT, TAKEN, RowFate, Translation
from solespan.api.services.interchange.formulas import guard
from solespan.forecast.frames import TABLES

__all__ = ["ROWS", "no_row", "questions_of", "reading_summary"]

NO_ROWS = ("a header row", "an empty row")
ROWS = "rows.csv"
MOST_FATES = 5000
MOST_PAIRS = 500
PREVIEW_ROWS = 10


def reading_summary(done: FileImport, folder: Path) -> dict[str, Any] | None:
    """Tell how sheets were read, and write the rest to correct into a folder; None for tables."""
    reading = done.reading
    if reading is None:
        return None
    translation = reading.translation
    fates = [fate for fate in done.fates if not no_row(fate)]
    others = [fate for fate in fates if fate.fate != TAKEN]
    # Refused rows come first: a person has to do something about them.
    ranked = sorted(others, key=lambda fate: fate.fate != "refused")
    pairs = translation.tables.get("pairs")
    soles = translation.tables.get("soles")
    labels = {} if pairs is None else dict(zip(pairs["pair_id"], pairs["label"], strict=True))
    on = {} if soles is None else dict(zip(soles["sole_id"], soles["pair_id"], strict=True))
    assumed = {one.id for one in translation.assumed if one.table in ("pairs", "soles")}
    known = {key: on.get(key, key) for key in assumed}
    return {
        "files": sorted({sheet.file for sheet in reading.sheets}),
        "answers": reading.answers,
        "choices": reading.choices,
        "known_before": reading.known_before,
        "columns": [asdict(one) for one in translation.columns],
        "questions": questions_of(translation.questions, reading.answers),
        "counts": dict(Counter(fate.fate for fate in fates)),
        "fates": [_told(fate) for fate in ranked[:MOST_FATES]],
        "fates_left_out": max(0, len(ranked) - MOST_FATES),
        "preview": [
            _preview(translation, name, frame, labels)
            for name, frame in translation.tables.items()
            if len(frame)
        ],
        "notes": len(translation.notes),
        "notes_cut": translation.notes_cut,
        "consents": dict(Counter(one.channel for one in translation.consents)),
        "pairs": [[key, label or key] for key, label in list(labels.items())[:MOST_PAIRS]],
        "pair_of": {key: [pair, labels.get(pair) or pair] for key, pair in known.items()},
        "rests": write_rest(reading.sheets, done.fates, folder),
        "rows": _write_rows(fates, folder / ROWS),
    }


def no_row(fate: RowFate) -> bool:
    """Whether a line of a sheet is a heading or empty, so that nobody misses it."""
    return fate.fate == LEFT_OUT and fate.why in NO_ROWS


def _write_rows(fates: Sequence[RowFate], path: Path) -> int:
    """Write what becomes of every row, taken or not; return how many rows there are."""
    with path.open("w", encoding="utf-8-sig", newline="") as stream:
        out = csv.writer(stream)
        out.writerow(["file", "sheet", "line", "fate", "becomes", "why"])
        for fate in fates:
            place, why = fate.place, "; ".join(p.words for p in fate.problems) or fate.why
            texts = map(guard, (place.file, place.sheet, str(place.line), fate.fate))
            out.writerow([*texts, guard(fate.became), guard(why)])
    return len(fates)


def questions_of(questions: list[Any], answers: dict[str, str]) -> list[dict[str, Any]]:
    """Tell questions with their choices; `open` says that nobody answered one yet."""
    return [asdict(one) | {"open": one.key not in answers} for one in questions]


def _preview(
    translation: Translation, name: str, frame: pd.DataFrame, labels: Mapping[str, str]
) -> dict[str, Any]:
    """Give the first rows of a table: only columns that say something, pairs by their label."""
    head = frame.head(PREVIEW_ROWS)
    assumed = {(one.id, one.column) for one in translation.assumed if one.table == name}
    own_id = TABLES[name].key[0]
    shown = [column for column in head if (head[column] != "").any()]
    # People know a pair by its label, and a sole by its pair.
    shown = [c for c in shown if c not in ("sole_id", "label") or name not in ("soles", "pairs")]
    rows = []
    for row in head.to_dict("records"):
        cells = {c: labels.get(row[c]) or row[c] if c == "pair_id" else row[c] for c in shown}
        rows.append([[cells[c], (row[own_id], c) in assumed] for c in shown])
    return {"table": name, "count": len(frame), "columns": shown, "rows": rows}


def _told(fate: RowFate) -> dict[str, Any]:
    problems = [problem.words for problem in fate.problems]
    return {"place": fate.place.words, "fate": fate.fate, "why": problems or [fate.why]}
