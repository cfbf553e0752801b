"""Papers service.

Which papers does an order get, what do they tell the log, and does the finished pair match?
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from datetime import date
from typing import Any

from sqlalchemy.orm import Session

from solespan.api.clock import Clock
from solespan.api.errors import Conflict, Refused, StaleVersion
from solespan.api.schemas.bench.orders import Condition, Record
from solespan.api.schemas.edition import refuse_other_edition
from solespan.api.schemas.forms import Typed
from solespan.api.services.bench.bench_settings import read_bench_settings
from solespan.api.services.bench.found_orders import describe, found_order
from solespan.api.services.bench.paper_forms import typed_of
from solespan.api.services.rack import records
from solespan.api.storage.audit import actor_of
from solespan.api.storage.bench import orders as stored
from solespan.forecast.bench.shoe_record import (
    FootRecord,
    Mismatch,
    ShoeRecord,
    Tolerances,
    mismatches,
)

__all__ = [
    "PAPER_STAGES",
    "MeasuresOut",
    "file_paper",
    "log_check",
    "measures_out",
    "pair_measures_out",
]

NOT_OF_PAPER = frozenset({"correction", "form_token", "account"})
PAPER_STAGES = {
    "condition": ("received", "on_bench"),
    "before": ("received", "on_bench"),
    "after": ("on_bench", "sent_on"),
}


class MeasuresOut(Refused):
    """The finished pair does not match its record; `measures` lists what is out."""

    def __init__(self, out: list[Mismatch]) -> None:
        first = out[0]
        super().__init__(
            f"{len(out)} measures are out, the first: {first.measure} ({first.compared}), "
            f"{first.wanted} wanted, {first.found} found, {first.allowed:g} allowed.",
            where="reasons",
            accepted="measures within the tolerances, or a reason for each that is out",
            remedy="Correct the pair and measure again, or give a reason for each by its name.",
        )
        self.extensions = {"measures": [asdict(m) for m in out]}


def file_paper(
    session: Session,
    order_id: str,
    kind: str,
    paper: Condition | Record,
    clock: Clock,
    *,
    seen: Typed | None = None,
    versions: frozenset[int] | None = None,
) -> dict[str, Any]:
    """File a paper of an order, keeping what it replaces in the audit; return the order.

    The readings of a condition report go into the log as checks. A form gives what was typed as
    `seen`, a program `versions` of the paper (0 = none is filed); the audit names who files it.
    Raises `NotFound`, `ChangedMeanwhile`, `StaleVersion`, and `Conflict` when the order is not
    where such a paper is written.
    """
    order = found_order(session, order_id, lock=True)
    if order["stage"] not in PAPER_STAGES[kind]:
        raise Conflict(
            f"The {kind} paper is written while the pair is "
            f"{' or '.join(PAPER_STAGES[kind])}; this order is {order['stage']}.",
            where="the order's stage",
            remedy="Take the order to that stage first, or leave the paper as it is.",
        )
    payload = paper.model_dump(mode="json")
    earlier = stored.papers_of(session, order["id"]).get(kind)
    if earlier == payload:
        return describe(session, order_id)
    if seen is not None:
        refuse_other_edition(seen, typed_of(kind, earlier), NOT_OF_PAPER)
    _refuse_version(session, order["id"], kind, versions)
    details: dict[str, Any] = {"paper": kind}
    if kind == "before" and isinstance(paper, Record):
        details |= _correction(order["stage"], paper, earlier)
    stored.put_paper(session, order["id"], kind, payload)
    if earlier is not None:
        details["replaced"] = earlier
    stage, who = order["stage"], actor_of(session)
    stored.add_event(
        session, order["id"], from_stage=stage, to_stage=stage, worker=who, details=details
    )
    if isinstance(paper, Condition):
        _log_readings(session, order, paper, clock)
    return describe(session, order_id)


def _refuse_version(
    session: Session, order_pk: int, kind: str, versions: frozenset[int] | None
) -> None:
    _, version = stored.filed_papers(session, order_pk).get(kind, (None, 0))
    if versions is None or version in versions:
        return
    raise StaleVersion(
        "This paper was filed or changed since it was read.",
        where="header If-Match",
        accepted="the paper's version, from paper_versions of the order",
        remedy="Read the order again, and decide again; * replaces whatever is filed.",
    )


def _correction(stage: str, paper: Record, earlier: Mapping[str, Any] | None) -> dict[str, Any]:
    """Take the reason why a record changes once the pair is stripped. Raises `Refused`."""
    if stage != "on_bench" or earlier is None:
        return {}
    if not paper.correction.strip():
        raise Refused(
            "The pair is stripped, so its record before stripping is closed.",
            where="correction",
            accepted="a correction with its reason",
            remedy="Say why the record was wrong; the earlier one stays visible.",
        )
    return {"correction": paper.correction.strip()}


def measures_out(
    session: Session, before: Mapping[str, Any], after: Mapping[str, Any]
) -> list[Mismatch]:
    """Measure the finished pair against its record, with the shop's tolerances."""
    settings, _ = read_bench_settings(session)
    allowed = Tolerances(
        settings.width_tolerance_mm,
        settings.thickness_tolerance_mm,
        settings.pitch_tolerance_degrees,
        settings.stitches_tolerance_per_inch,
    )
    return mismatches(_shoe_record(before), _shoe_record(after), allowed)


def pair_measures_out(session: Session, papers: Mapping[str, Any]) -> list[Mismatch]:
    """Return what is out on a pair whose record and finished measures are filed, else nothing."""
    if "before" not in papers or "after" not in papers:
        return []
    return measures_out(session, papers["before"], papers["after"])


def _shoe_record(paper: Mapping[str, Any]) -> ShoeRecord:
    def foot(measures: Mapping[str, Any]) -> FootRecord:
        return FootRecord(**{**measures, "heel_layers_mm": tuple(measures["heel_layers_mm"])})

    return ShoeRecord(
        foot(paper["left"]), foot(paper["right"]), paper["channel"], paper["toe_plate"]
    )


def _log_readings(
    session: Session, order: Mapping[str, Any], paper: Condition, clock: Clock
) -> None:
    row = records.read(session, "bench_jobs", {"job_id": order["order_id"]})
    for reading in paper.readings:
        where = (order["pair_id"], row["received_on"], reading.foot, reading.point)
        if reading.value_mm is not None:
            log_check(session, clock, *where, reading.value_mm, method=reading.method)
        if reading.grade is not None:
            log_check(session, clock, *where, None, method="thumb", grade=reading.grade)


def log_check(
    session: Session,
    clock: Clock,
    pair_id: str,
    on: date,
    foot: str,
    point: str,
    value_mm: float | None,
    *,
    method: str = "caliper",
    grade: str | None = None,
) -> None:
    """Write a check, or replace what was written of this point today."""
    key = {"pair_id": pair_id, "checked_on": on, "foot": foot, "point": point, "method": method}
    result = {"value_mm": value_mm, "grade": grade, "lug_mm": None}
    try:
        records.create(session, "checks", key | result, clock)
    except Conflict:
        records.replace(session, "checks", key, result, versions=None, clock=clock)
