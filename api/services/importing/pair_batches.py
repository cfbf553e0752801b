"""Pair batches service: how are the many rows of wear days and checks judged, planned and written?

All rules for them look at one pair at a time. So the rows of some pairs are taken from file to
database before those of the next, and never all at once.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import pandas as pd
from sqlalchemy.orm import Session

from solespan.api.services.importing.planning import Plan, make_plan, write_plan
from solespan.api.services.interchange.drafts import Draft, read_cells
from solespan.api.services.interchange.packed_rows import PackedRows
from solespan.api.services.interchange.plausibility import question_checks
from solespan.api.services.interchange.reference_data import KnownRecords, complete
from solespan.api.services.interchange.references import (
    judge_dates,
    judge_doubles,
    judge_pairs_known,
)
from solespan.api.services.interchange.report import NOTED, QUESTIONED, Counts, Finding
from solespan.api.services.interchange.soles import judge_on_a_sole
from solespan.api.storage.importing.bulk import stored_rows

__all__ = ["PAIR_ROWS", "Taken", "counts_of", "take_rows"]

PAIR_ROWS = {"wear_days": "worn_on", "checks": "checked_on"}
MOST_FINDINGS = 100_000  # of one file; a report of more is of no use to anyone


@dataclass
class Taken:
    """What became of the rows of one file, and the wearers whose data change."""

    counts: Counts
    findings: list[Finding]
    wearer_ids: set[str] = field(default_factory=set)


def take_rows(
    session: Session,
    world: KnownRecords,
    line: pd.DataFrame,
    rows: PackedRows,
    *,
    writes: bool,
    keep: bool,
) -> Taken:
    """Judge the rows of one file, and write the good ones unless one was refused.

    Parameters
    ----------
    line
        The timeline of soles.
    writes
        Whether good rows are written at all.
    keep
        Whether they are also written after a refused one; else the caller undoes all.
    """
    unreadable = len(rows.findings)
    total = Counts(rows=len(rows) + unreadable, refused=unreadable)
    taken = Taken(total, list(rows.findings))
    left_out = 0
    for raw in rows.batches():
        draft = read_cells(raw)
        near = _judge(session, world, draft, line)
        plan = make_plan(near, draft)
        counts = counts_of(draft, plan)
        for name in ("new", "updated", "unchanged", "refused", "questioned"):
            setattr(total, name, getattr(total, name) + getattr(counts, name))
        room = MOST_FINDINGS - len(taken.findings)
        taken.findings += draft.findings[: max(0, room)]
        left_out += max(0, len(draft.findings) - room)
        if writes and (keep or not total.refused):
            taken.wearer_ids |= write_plan(session, {draft.table.name: plan}, near)
    if left_out:
        why = f"{left_out:,} further findings of this file are left out"
        taken.findings.append(Finding(NOTED, f"{rows.table.name}.csv", 0, "", "", why))
    return taken


def _judge(session: Session, world: KnownRecords, draft: Draft, line: pd.DataFrame) -> KnownRecords:
    """Refuse and question the rows of some pairs; return what is known beside them."""
    name = draft.table.name
    judge_doubles(draft)
    pair_ids = set(draft.frame["pair_id"].dropna())
    stored = stored_rows(session, name, "pair_id", pair_ids)
    complete(draft, stored)
    near = world.beside(draft, stored)
    near_line = line[line["pair_id"].isin(list(pair_ids))]
    judge_pairs_known(near, name)
    judge_dates(near, name)
    judge_on_a_sole(near, name, PAIR_ROWS[name], near_line)
    if name == "checks":
        _judge_results(draft)
        question_checks(near, near_line)
    return near


def _judge_results(draft: Draft) -> None:
    """Refuse checks without a result, with two, or with lugs that no thickness includes."""
    frame = draft.frame
    measured, graded = frame["value_mm"].notna(), frame["grade"].notna()
    accepted = "exactly one of value_mm, value_iron and grade"
    draft.refuse(
        (measured & graded).to_numpy(), "grade", "both a thickness and a grade are given", accepted
    )
    draft.refuse(
        (~measured & ~graded).to_numpy(), "value_mm", "neither thickness nor grade", accepted
    )
    lugs = frame["lug_mm"].notna() & ~(frame["lug_mm"] <= frame["value_mm"])
    draft.refuse(
        lugs.to_numpy(),
        "lug_mm",
        "lugs without a thickness that includes them",
        "the whole thickness, and lugs that are a part of it",
    )


def counts_of(draft: Draft, plan: Plan) -> Counts:
    """Count the rows of a draft by what becomes of them."""
    asked = {finding.line for finding in draft.findings if finding.severity == QUESTIONED}
    return Counts(
        rows=draft.rows,
        new=len(plan.new),
        updated=len(plan.updated),
        unchanged=plan.unchanged,
        refused=draft.refused,
        questioned=len(asked),
    )
