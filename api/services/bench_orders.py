"""How does a piece of work go from booked to returned, and what does each step need and do?

Each step is one transaction: the order's new stage, its line in the audit, and what follows in the
log (the job in `bench_jobs`, readings, the old sole's end and the new one's beginning) stand
together or not at all. Nobody can take a step twice: a step names the version it was decided on.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any
from uuid import uuid4

from sqlalchemy.orm import Session

from api.clock import Clock
from api.errors import Conflict, NotFound, Refused, StaleVersion
from api.schemas.bench import Condition, Move, NewOrder, Record
from api.services import records
from api.services.bench_settings import read_bench_settings
from api.services.stock import use_for_job
from api.storage import bench as stored
from api.storage.due import forecast_of_pair
from api.storage.records import owner_of
from api.storage.workload import put_outcome
from forecast.bench.shoe_record import FootRecord, Mismatch, ShoeRecord, Tolerances, mismatches
from forecast.workload.mix import SOLE_WORKS

__all__ = ["STEPS", "MeasuresOut", "book", "describe", "file_paper", "step"]

STEPS: dict[str, tuple[str, ...]] = {
    "booked": ("in_post", "received", "cancelled", "missed"),
    "in_post": ("received", "cancelled"),
    "received": ("on_bench", "returned"),
    "on_bench": ("checked",),
    "checked": ("posted_back", "returned"),
    "posted_back": ("returned",),
    "returned": (),
    "cancelled": (),
    "missed": (),
}
_PAPER_STAGES = {
    "condition": ("received", "on_bench"),
    "before": ("received", "on_bench"),
    "after": ("on_bench",),
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


@dataclass(frozen=True)
class _Step:
    """What a step works on."""

    session: Session
    clock: Clock
    order: dict[str, Any]
    move: Move
    on: date


def book(session: Session, given: NewOrder, clock: Clock) -> dict[str, Any]:
    """Book a piece of work; return the order.

    Raises `NotFound` for an unknown pair, `Conflict` when the pair is at another bench or the id
    is taken, `Refused` when a day cannot be.
    """
    owner = owner_of(session, "pair_id", given.pair_id, lock=True)
    if owner is None or owner.pair_pk is None:
        raise records.unknown_id(session, "pairs", "pair_id", given.pair_id)
    _refuse_elsewhere(session, owner.pair_pk, given.pair_id)
    today = clock.today(owner.time_zone)
    for name in ("expected_on", "promised_on"):
        day = getattr(given, name)
        if day is not None and day < today:
            raise Refused(
                f"{name}: {day} is past.",
                where=name,
                accepted=f"{today} or later",
                remedy="Give a day to come, or leave it out.",
            )
    values = given.model_dump(exclude={"pair_id"})
    values["order_id"] = given.order_id or uuid4().hex
    values |= {"pair_pk": owner.pair_pk, "stage": "booked", "booked_on": today}
    order_pk = stored.insert_order(session, values)
    stored.add_event(session, order_pk, to_stage="booked", details={})
    return describe(session, values["order_id"])


def describe(session: Session, order_id: str) -> dict[str, Any]:
    """Return an order with its audit, papers and photographs. Raises `NotFound`."""
    order = _found(session, order_id)
    shown = {k: v for k, v in order.items() if k not in ("id", "pair_pk")}
    events = [e | {"at": e["at"].isoformat()} for e in stored.events_of(session, order["id"])]
    return shown | {
        "events": events,
        "papers": stored.papers_of(session, order["id"]),
        "photos": stored.photos_of(session, order["id"]),
    }


def file_paper(
    session: Session, order_id: str, kind: str, paper: Condition | Record, clock: Clock
) -> dict[str, Any]:
    """File a paper of an order, keeping what it replaces in the audit; return the order.

    The readings of a condition report go into the log as checks. Raises `NotFound`, and
    `Conflict` when the order is not where such a paper is written.
    """
    order = _found(session, order_id, lock=True)
    if order["stage"] not in _PAPER_STAGES[kind]:
        raise Conflict(
            f"The {kind} paper is written while the pair is "
            f"{' or '.join(_PAPER_STAGES[kind])}; this order is {order['stage']}.",
            where="the order's stage",
            remedy="Take the order to that stage first, or leave the paper as it is.",
        )
    payload = paper.model_dump(mode="json")
    earlier = stored.papers_of(session, order["id"]).get(kind)
    if earlier == payload:
        return describe(session, order_id)
    stored.put_paper(session, order["id"], kind, payload)
    details: dict[str, Any] = {"paper": kind}
    if earlier is not None:
        details["replaced"] = earlier
    stage = order["stage"]
    stored.add_event(
        session, order["id"], from_stage=stage, to_stage=stage, worker=order["worker"],
        details=details,
    )  # fmt: skip
    if isinstance(paper, Condition):
        _log_readings(session, order, paper, clock)
    return describe(session, order_id)


def step(session: Session, order_id: str, move: Move, clock: Clock) -> dict[str, Any]:
    """Take an order to its next stage; return it.

    Raises `NotFound`; `StaleVersion` when someone changed it since it was read; `Conflict` for a
    step that is not possible from here, or a pair that is elsewhere; `Refused` for what is missing
    or cannot be; `MeasuresOut`.
    """
    order = _found(session, order_id, lock=True)
    if move.version != order["version"]:
        raise StaleVersion(
            f"Someone took this order to {order['stage']} since it was read.",
            where="version",
            accepted=str(order["version"]),
            remedy="Read the order again and decide again.",
        )
    if move.to not in STEPS[order["stage"]]:
        can = ", ".join(STEPS[order["stage"]]) or "nowhere: it is closed"
        raise Conflict(
            f"An order that is {order['stage']} cannot become {move.to}.",
            where="to",
            accepted=can,
            remedy="Read the order and choose one of these.",
        )
    owner = owner_of(session, "pair_id", order["pair_id"], lock=True)
    today = clock.today(owner.time_zone if owner else "UTC")
    on = move.on or today
    if not order["booked_on"] <= on <= today:
        raise Refused(
            f"on: {on} cannot be the day of this step.",
            where="on",
            accepted=f"{order['booked_on']} to {today}",
            remedy="Give the day on which it happened.",
        )
    work = _Step(session, clock, order, move, on)
    changes, details = _DO.get(move.to, _nothing)(work)
    values = {"stage": move.to} | changes
    if move.worker:
        values["worker"] = move.worker
    if not stored.change_order(session, order["id"], move.version, values):
        raise StaleVersion(
            "Someone else took this step just now.",
            where="version",
            remedy="Read the order again.",
        )
    stored.add_event(
        session,
        order["id"],
        from_stage=order["stage"],
        to_stage=move.to,
        worker=move.worker or order["worker"],
        details={"on": on.isoformat()} | ({"note": move.note} if move.note else {}) | details,
    )
    return describe(session, order_id)


def _found(session: Session, order_id: str, *, lock: bool = False) -> dict[str, Any]:
    order = stored.find_order(session, order_id, lock=lock)
    if order is None:
        raise NotFound(
            f"There is no order {order_id!r}.",
            where="order_id",
            remedy="Look it up in the list of orders: GET /v1/bench-orders",
        )
    return order


def _refuse_elsewhere(session: Session, pair_pk: int, pair_id: str) -> None:
    """Refuse a pair that a job of the log, which is no order here, has away."""
    strange = [
        job for job in stored.open_jobs(session, pair_pk) if stored.find_order(session, job) is None
    ]
    if strange:
        raise Conflict(
            f"The pair {pair_id} is elsewhere: job {strange[0]} received it and has not returned "
            "it.",
            where="pair_id",
            remedy="Give that job its returned_on first.",
        )


Done = tuple[dict[str, Any], dict[str, Any]]


def _nothing(_work: _Step) -> Done:
    return {}, {}


def _in_post(work: _Step) -> Done:
    return {"by_post": True, "parcel_in": work.move.parcel_number}, {}


def _received(work: _Step) -> Done:
    order = work.order
    _refuse_elsewhere(work.session, order["pair_pk"], order["pair_id"])
    job = {
        "job_id": order["order_id"],
        "pair_id": order["pair_id"],
        "work": order["work"],
        "received_on": work.on,
        "promised_on": order["promised_on"],
        "finished_on": None,
        "returned_on": None,
        "bench_minutes": None,
        "price_minor": order["price_minor"],
        "currency": order["currency"],
    }
    records.create(work.session, "bench_jobs", job, work.clock)
    if order["work"] in SOLE_WORKS:
        _tell_outcome(work, "came")
    return {}, {}


def _missed(work: _Step) -> Done:
    if work.order["work"] in SOLE_WORKS:
        _tell_outcome(work, "no_show")
    return {}, {}


def _tell_outcome(work: _Step, outcome: str) -> None:
    """Let the habits learn: the pair was due on its median date, or today if that lies ahead."""
    rows = forecast_of_pair(work.session, work.order["pair_id"])
    due = [r["due_p50"] for r in rows if r["foot"] == "pair" and r["point"] == "ball"]
    due_on = min(due[0], work.on) if due and due[0] is not None else work.on
    came_on = work.on if outcome == "came" else None
    values = {"due_on": due_on, "outcome": outcome, "came_on": came_on}
    put_outcome(work.session, work.order["pair_pk"], values)


def _on_bench(work: _Step) -> Done:
    if not work.move.worker:
        raise Refused(
            "Nobody is named who works on it.",
            where="worker",
            accepted="a name",
            remedy="Say who puts it on the bench.",
        )
    papers = stored.papers_of(work.session, work.order["id"])
    if work.order["work"] in SOLE_WORKS and "before" not in papers:
        raise Refused(
            "The shoe's record before stripping is missing.",
            where="papers",
            accepted="a record of both shoes",
            remedy=f"PUT /v1/bench-orders/{work.order['order_id']}/before first: after stripping "
            "it can no longer be taken.",
        )
    return {}, {}


def _checked(work: _Step) -> Done:
    order, move = work.order, work.move
    papers = stored.papers_of(work.session, order["id"])
    before = papers.get("before")
    after = papers.get("after")
    details: dict[str, Any] = {}
    if before is not None:
        if after is None:
            raise Refused(
                "The finished pair has not been measured.",
                where="papers",
                accepted="the same measures as before stripping",
                remedy=f"PUT /v1/bench-orders/{order['order_id']}/after first.",
            )
        details["accepted"] = _measures_accepted(work, before, after)
    _change_job(work, finished_on=work.on, bench_minutes=move.bench_minutes)
    if order["work"] in SOLE_WORKS:
        details["new_sole"] = _fit_sole(work, after or {})
    details["stock"] = use_for_job(work.session, order, move.new_sole, after)
    return {"bench_minutes": move.bench_minutes}, details


def _measures_accepted(
    work: _Step, before: Mapping[str, Any], after: Mapping[str, Any]
) -> list[dict[str, Any]]:
    settings, _ = read_bench_settings(work.session)
    allowed = Tolerances(settings.width_tolerance_mm, settings.thickness_tolerance_mm)
    out = mismatches(_shoe_record(before), _shoe_record(after), allowed)
    reasons = work.move.reasons
    unexplained = [m for m in out if not reasons.get(m.measure, "").strip()]
    if unexplained:
        raise MeasuresOut(unexplained)
    return [asdict(m) | {"reason": reasons[m.measure]} for m in out]


def _shoe_record(paper: Mapping[str, Any]) -> ShoeRecord:
    def foot(measures: Mapping[str, Any]) -> FootRecord:
        return FootRecord(**{**measures, "heel_layers_mm": tuple(measures["heel_layers_mm"])})

    return ShoeRecord(
        foot(paper["left"]), foot(paper["right"]), paper["channel"], paper["toe_plate"]
    )


def _fit_sole(work: _Step, after: Mapping[str, Any]) -> dict[str, Any]:
    """End the old sole and begin the new one with what was measured on the finished pair."""
    order, sole = work.order, work.move.new_sole
    if sole is None:
        raise Refused(
            "The new sole is not described.",
            where="new_sole",
            accepted="its material, and what it covers",
            remedy="Say what was fitted.",
        )
    feet = {foot: after[foot]["thickness_mm"] for foot in ("left", "right")}
    at_ball = [feet[foot]["ball"] for foot in feet if feet[foot].get("ball") is not None]
    if len(at_ball) < len(feet):
        raise Refused(
            "The new sole's thickness at the ball is not in the record of both shoes.",
            where="papers.after",
            accepted="thickness_mm.ball of the left and the right shoe",
            remedy="Measure it and file the record again.",
        )
    values = {
        "sole_id": f"{order['order_id']}-sole",
        "pair_id": order["pair_id"],
        "fitted_on": work.on,
        "material": sole.material,
        "nominal_thickness_mm": round(sum(at_ball) / len(at_ball), 2),
        "limit_mm": sole.limit_mm,
        "cover": sole.cover,
        "channel": sole.channel,
        "removed_on": None,
    }
    records.create(work.session, "soles", values, work.clock)
    for foot, points in feet.items():
        for point, value_mm in points.items():
            _log_check(work.session, work.clock, order["pair_id"], work.on, foot, point, value_mm)
    return {"sole_id": values["sole_id"], "thickness_mm": values["nominal_thickness_mm"]}


def _posted_back(work: _Step) -> Done:
    return {"parcel_out": work.move.parcel_number}, {}


def _returned(work: _Step) -> Done:
    _change_job(work, returned_on=work.on)
    return {}, {}


_DO = {
    "in_post": _in_post,
    "received": _received,
    "missed": _missed,
    "on_bench": _on_bench,
    "checked": _checked,
    "posted_back": _posted_back,
    "returned": _returned,
}


def _change_job(work: _Step, **changes: Any) -> None:
    key = {"job_id": work.order["order_id"]}
    row = records.read(work.session, "bench_jobs", key)
    skipped = ("job_id", "pair_id", "version")
    values = {k: v for k, v in row.items() if k not in skipped} | changes
    records.replace(work.session, "bench_jobs", key, values, versions=None, clock=work.clock)


def _log_readings(
    session: Session, order: Mapping[str, Any], paper: Condition, clock: Clock
) -> None:
    row = records.read(session, "bench_jobs", {"job_id": order["order_id"]})
    for reading in paper.readings:
        where = (order["pair_id"], row["received_on"], reading.foot, reading.point)
        if reading.value_mm is not None:
            _log_check(session, clock, *where, reading.value_mm, method=reading.method)
        if reading.grade is not None:
            _log_check(session, clock, *where, None, method="thumb", grade=reading.grade)


def _log_check(
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
    result = {"value_mm": value_mm, "grade": grade}
    try:
        records.create(session, "checks", key | result, clock)
    except Conflict:
        records.replace(session, "checks", key, result, versions=None, clock=clock)
