"""Steps service.

What does each step of an order need, and what follows from it in the log and the stock book?
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from datetime import date, timedelta
from typing import Any

from sqlalchemy.orm import Session

from solespan.api.clock import Clock
from solespan.api.errors import Refused
from solespan.api.schemas.bench.orders import Move
from solespan.api.services.bench.found_orders import refuse_elsewhere
from solespan.api.services.bench.papers import MeasuresOut, log_check, measures_out
from solespan.api.services.bench.stock import use_for_job
from solespan.api.services.rack import records
from solespan.api.storage.bench import orders as stored
from solespan.api.storage.bench.workload import put_outcome
from solespan.api.storage.forecasts.forecast_reads import forecast_of_pair
from solespan.api.storage.notices.advice import came_by_advice
from solespan.forecast.bench.visits import works_of
from solespan.forecast.layers.thickness import GUARD_MM
from solespan.forecast.workload.mix import SOLE_WORKS

__all__ = ["STEPS", "Step", "done_by"]

STEPS: dict[str, tuple[str, ...]] = {
    "booked": ("in_post", "received", "cancelled", "missed", "refused"),
    "in_post": ("received", "cancelled"),
    "received": ("on_bench", "sent_on", "returned", "refused"),
    "on_bench": ("checked", "sent_on", "refused"),
    "sent_on": ("checked", "received"),
    "checked": ("posted_back", "returned"),
    "posted_back": ("returned",),
    "returned": (),
    "cancelled": (),
    "missed": (),
    "refused": (),
}


@dataclass(frozen=True)
class Step:
    """What a step works on."""

    session: Session
    clock: Clock
    order: dict[str, Any]
    move: Move
    on: date


Done = tuple[dict[str, Any], dict[str, Any]]


def _in_post(work: Step) -> Done:
    return {"by_post": True, "parcel_in": work.move.parcel_number}, {}


def _received(work: Step) -> Done:
    order = work.order
    if order["stage"] == "sent_on":
        return {"back_on": None}, {}
    refuse_elsewhere(work.session, order["pair_pk"], order["pair_id"])
    advised = order["advised"] or came_by_advice(work.session, order["pair_pk"], work.on)
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
        # a sole that is redone says nothing of how long its owner wears one
        "advised": advised or order["warranty_of"] is not None,
        "more_works": order["more_works"],
    }
    records.create(work.session, "bench_jobs", job, work.clock)
    if order["work"] in SOLE_WORKS and order["warranty_of"] is None:
        _tell_outcome(work, "came")
    return {"advised": advised}, {}


def _sent_on(work: Step) -> Done:
    """Send the pair on to a maker; its job stays open, and no bench works on it."""
    move = work.move
    if not move.sent_to:
        raise Refused(
            "Where it is sent is missing.",
            where="sent_to",
            accepted="the name of the maker",
            remedy="Say who works on it.",
        )
    if move.back_on is not None and move.back_on < work.on:
        raise Refused(
            f"back_on: {move.back_on} is before the day of this step.",
            where="back_on",
            accepted=f"{work.on} or later",
            remedy="Give the day on which it should be back, or leave it out.",
        )
    told = {"sent_to": move.sent_to}
    if move.back_on is not None:
        told["back_on"] = move.back_on.isoformat()
    return {"sent_to": move.sent_to, "back_on": move.back_on}, told


def _refused(work: Step) -> Done:
    """Refuse the work with a reason; a job that was begun leaves the log, as no work was done."""
    if not (work.move.note or "").strip():
        raise Refused(
            "The reason is missing.",
            where="note",
            accepted="a sentence for the customer",
            remedy="Say why the work is refused.",
        )
    if work.order["stage"] != "booked":
        key = {"job_id": work.order["order_id"]}
        records.delete(work.session, "bench_jobs", key, versions=None)
    return {"reason": work.move.note}, {}


def _missed(work: Step) -> Done:
    if work.order["work"] in SOLE_WORKS:
        _tell_outcome(work, "no_show")
    return {}, {}


def _tell_outcome(work: Step, outcome: str) -> None:
    """Let the habits learn: the pair was due on its median date, or today if that lies ahead."""
    rows = forecast_of_pair(work.session, work.order["pair_id"])
    due = [r["due_p50"] for r in rows if r["foot"] == "pair" and r["point"] == "ball"]
    due_on = min(due[0], work.on) if due and due[0] is not None else work.on
    came_on = work.on if outcome == "came" else None
    values = {"due_on": due_on, "outcome": outcome, "came_on": came_on}
    put_outcome(work.session, work.order["pair_pk"], values)


def _on_bench(work: Step) -> Done:
    if not work.move.worker:
        raise Refused(
            "The name of the worker is missing.",
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
            remedy="Measure both shoes before stripping and file it: afterwards it cannot be done.",
        )
    return {}, {}


def _checked(work: Step) -> Done:
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
                remedy="Measure the finished pair and file it first.",
            )
        details["accepted"] = _measures_accepted(work, before, after)
    _change_job(work, finished_on=work.on, bench_minutes=move.bench_minutes)
    guarded = "guard" in works_of(order["work"], order["more_works"])
    if order["work"] in SOLE_WORKS:
        # a guard goes on once the sole is dry, so the sole was fitted the day before
        day = work.on - timedelta(days=1) if guarded else work.on
        details["new_sole"] = _fit_sole(work, after or {}, day)
    if guarded:
        details["guard" if "new_sole" in details else "new_sole"] = _fit_guard(work)
    if order["stage"] != "sent_on":  # a maker uses materials of its own
        details["stock"] = use_for_job(work.session, order, move.new_sole, after)
    return {"bench_minutes": move.bench_minutes}, details


def _measures_accepted(
    work: Step, before: Mapping[str, Any], after: Mapping[str, Any]
) -> list[dict[str, Any]]:
    reasons = work.move.reasons
    out = measures_out(work.session, before, after)
    unexplained = [m for m in out if not reasons.get(m.measure, "").strip()]
    if unexplained:
        raise MeasuresOut(unexplained)
    return [asdict(m) | {"reason": reasons[m.measure]} for m in out]


def _fit_sole(work: Step, after: Mapping[str, Any], day: date) -> dict[str, Any]:
    """End the old sole and begin the new one with what was measured before any guard went on."""
    order, sole = work.order, work.move.new_sole
    if sole is None:
        raise Refused(
            "The new sole is not described.",
            where="new_sole",
            accepted="its material, and what it covers",
            remedy="Name the new sole.",
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
        "fitted_on": day,
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
            log_check(work.session, work.clock, order["pair_id"], day, foot, point, value_mm)
    return {"sole_id": values["sole_id"], "thickness_mm": values["nominal_thickness_mm"]}


def _fit_guard(work: Step) -> dict[str, Any]:
    """Put a guard over the sole: it is on the ground from now on, as thick as usual."""
    values = {
        "sole_id": f"{work.order['order_id']}-guard",
        "pair_id": work.order["pair_id"],
        "fitted_on": work.on,
        "material": "rubber",
        "nominal_thickness_mm": GUARD_MM,
        "limit_mm": None,
        "cover": "guard",
        "channel": None,
        "assumed": False,
        "removed_on": None,
    }
    records.create(work.session, "soles", values, work.clock)
    return {"sole_id": values["sole_id"], "thickness_mm": GUARD_MM}


def _posted_back(work: Step) -> Done:
    return {"parcel_out": work.move.parcel_number}, {}


def _returned(work: Step) -> Done:
    _change_job(work, returned_on=work.on)
    return {}, {}


def _change_job(work: Step, **changes: Any) -> None:
    key = {"job_id": work.order["order_id"]}
    row = records.read(work.session, "bench_jobs", key)
    skipped = ("job_id", "pair_id", "version")
    values = {k: v for k, v in row.items() if k not in skipped} | changes
    records.replace(work.session, "bench_jobs", key, values, versions=None, clock=work.clock)


_DO: dict[str, Callable[[Step], Done]] = {
    "in_post": _in_post,
    "received": _received,
    "missed": _missed,
    "sent_on": _sent_on,
    "refused": _refused,
    "on_bench": _on_bench,
    "checked": _checked,
    "posted_back": _posted_back,
    "returned": _returned,
}


def done_by(work: Step) -> Done:
    """Do what the step asks; return what changes in the order, and what its audit says.

    Raises `Refused` for what is missing or cannot be, `Conflict` for a pair that is elsewhere, and
    `MeasuresOut`.
    """
    do = _DO.get(work.move.to)
    return ({}, {}) if do is None else do(work)
