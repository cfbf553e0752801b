"""Questions service: which typed checks and soles are odd, though possible, and what may they be?

The questions are those of `api.services.interchange.plausibility`, put to the one record
that a form brings beside what is stored. The form takes it after a confirmation.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy.orm import Session

from solespan.api.schemas.forms import FORM_FIELD, FormProblem, Typed, Values
from solespan.api.services.context import AppContext
from solespan.api.services.interchange.drafts import Draft, read_cells
from solespan.api.services.interchange.plausibility import question_checks, question_soles
from solespan.api.services.interchange.reading import read_table
from solespan.api.services.interchange.reference_data import known_records
from solespan.api.services.interchange.report import QUESTIONED, Finding
from solespan.api.services.interchange.soles import timeline
from solespan.api.storage.importing.bulk import stored_rows
from solespan.forecast.frames import TABLES
from solespan.forecast.units import iron_to_mm

__all__ = ["ask", "questions_of"]

MOST_BYTES = 64 * 1024


def questions_of(
    ctx: AppContext,
    session: Session,
    name: str,
    rows: Sequence[Values],
    *,
    instead_of: Mapping[str, Any] | None = None,
) -> list[Finding]:
    """Return what an import would ask about these records; empty for tables it asks nothing of.

    `instead_of` is the stored record that they take the place of.
    """
    if name not in ("checks", "soles"):
        return []
    draft = _draft(name, rows)
    drafts = {"soles": draft if name == "soles" else _draft("soles", [])}
    pair_ids = set(draft.frame["pair_id"].dropna())
    world = known_records(session, drafts, pair_ids, ctx.clock.today)
    if name == "checks":
        world = world.beside(draft, stored_rows(session, name, "pair_id", pair_ids))
    if instead_of is not None:
        old = world.stored[name]
        key = list(TABLES[name].key)
        same = (old[key].astype(str) == [str(instead_of[column]) for column in key]).all(axis=1)
        world.stored[name] = old[~same]
    if name == "soles":
        question_soles(world)
    else:
        question_checks(world, timeline(world))
    return [one for one in draft.findings if one.severity == QUESTIONED and one.line]


def ask(
    ctx: AppContext,
    session: Session,
    name: str,
    rows: Sequence[Values],
    typed: Typed,
    *,
    fields: Sequence[str] = (),
    instead_of: Mapping[str, Any] | None = None,
) -> None:
    """Raise `FormProblem` that asks about odd records, unless `sure` says that they are right.

    `fields` name the field of each record.
    """
    if typed.get("sure") == "true":
        return
    asked: dict[str, str] = {}
    whys: list[str] = []
    irons = ""
    for finding in questions_of(ctx, session, name, rows, instead_of=instead_of):
        column = FORM_FIELD.get(finding.column, finding.column)
        place = finding.line - 2  # the header is line 1
        field = fields[place] if fields and finding.column == "value_mm" else column
        asked[field] = "is this right?"
        whys.append(f"{finding.why[0].upper()}{finding.why[1:]}.")
        value = rows[place].get(finding.column)
        if "irons" in finding.why and typed.get("unit", "mm") == "mm" and value is not None:
            irons = f"{value:g} irons is {iron_to_mm(float(value)):.1f} mm"
    if asked:
        raise FormProblem(asked, question=" ".join(dict.fromkeys(whys)), irons=irons)


def _draft(name: str, rows: Sequence[Values]) -> Draft:
    columns = [c.name for c in TABLES[name].stored]
    stream = io.StringIO(newline="")
    out = csv.writer(stream)
    out.writerow(columns)
    for row in rows:
        out.writerow([_cell(row.get(column)) for column in columns])
    text = io.BytesIO(stream.getvalue().encode())
    return read_cells(read_table(text, TABLES[name], limit_bytes=MOST_BYTES))


def _cell(value: Any) -> str:
    return "" if value is None else str(value).lower() if isinstance(value, bool) else str(value)
