"""Sheet notes service: where does the free text of sheets stand in the tables?

A text stands in the notes of its pair or wearer, on a line of its own. A line that is there already
is not added again, so that an import repeats without a change.
"""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd
from sqlalchemy.orm import Session

from solespan.api.services.importing.exports import cells_of
from solespan.api.services.importing.sheets.translation import Note, Translation
from solespan.api.services.interchange.formulas import unguard
from solespan.api.storage.importing.bulk import stored_rows
from solespan.forecast.frames import TABLES
from solespan.forecast.values import TEXT_LENGTH

__all__ = ["CUT", "NOTES_CUT", "put_notes"]

NOTES_CUT = "Notes that hold 2,000 characters and are cut there: {}"
CUT = "(Cut here: the sheet has more text than fits.)"


def put_notes(session: Session, translation: Translation) -> None:
    """Put the texts about wearers and pairs into their rows; `notes_cut` counts what was cut."""
    for name in ("wearers", "pairs"):
        found: dict[str, list[Note]] = {}
        for note in translation.notes:
            if note.table == name:
                found.setdefault(note.id, []).append(note)
        if found:
            _put(session, translation, name, found)


def _put(
    session: Session, translation: Translation, name: str, found: dict[str, list[Note]]
) -> None:
    key = TABLES[name].key[0]
    frame = translation.tables[name]
    there = dict(zip(frame[key], range(len(frame)), strict=True))
    texts = frame["notes"].fillna("").tolist()
    missing = _stored(session, name, set(found) - set(there))
    added = {row[key]: row for row in missing}
    for row_id, notes in found.items():
        row = added.get(row_id)
        if row is None and row_id not in there:
            continue
        before = str(texts[there[row_id]] if row is None else row["notes"])
        after, is_cut = merged(before, (note.text for note in notes))
        translation.notes_cut += is_cut
        if row is None:
            texts[there[row_id]] = after
        else:
            row["notes"] = after
    frame["notes"] = texts
    changed = [row for row_id, row in added.items() if row["changed"] != row["notes"]]
    if changed:
        rows = pd.DataFrame(changed, dtype=object).reindex(columns=frame.columns, fill_value="")
        translation.tables[name] = pd.concat([frame, rows], ignore_index=True)
        translation.origin[name] += [found[row[key]][0].place for row in changed]


def _stored(session: Session, name: str, ids: set[str]) -> list[dict[str, str]]:
    """Return the rows of the database as cells; `changed` holds the notes as they are there."""
    if not ids:
        return []
    table = TABLES[name]
    stored = stored_rows(session, name, table.key[0], ids)
    cells = {c.name: [*map(unguard, cells_of(stored[c.name], c))] for c in table.stored}
    return [row | {"changed": row["notes"]} for row in pd.DataFrame(cells).to_dict("records")]


def merged(before: str, texts: Iterable[str]) -> tuple[str, bool]:
    """Add lines that notes lack, and say whether some had no room."""
    lines = before.split("\n") if before else []
    if CUT in lines:
        return before, True
    for text in texts:
        if text in lines:
            continue
        if len("\n".join([*lines, text])) > TEXT_LENGTH - len(CUT) - 1:
            room = TEXT_LENGTH - len(CUT) - 1 - len("\n".join([*lines, ""]))
            if not lines and room > 0:
                lines.append(text[:room].rstrip())
            whole = "\n".join([*lines, CUT])
            # A person may have filled the notes to the last character.
            return (whole, True) if len(whole) <= TEXT_LENGTH else (before, True)
        lines.append(text)
    return "\n".join(lines), False
