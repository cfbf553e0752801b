"""Sole forms service.

How is a pair handed over for work, received back, given a new sole, and retired?
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any
from uuid import uuid4

from sqlalchemy.orm import Session

from solespan.api.errors import Refused
from solespan.api.schemas.forms import Typed, read_day, read_record
from solespan.api.services.context import AppContext
from solespan.api.services.rack import records
from solespan.api.services.rack.log_forms import follow, telling
from solespan.api.services.rack.pair_forms import read_sole, sole_on
from solespan.api.services.rack.questions import ask
from solespan.api.storage.bench.orders import find_order
from solespan.api.storage.notices.advice import came_by_advice
from solespan.api.storage.rack.records import list_records, owner_of
from solespan.forecast.layers.limits import default_limit_mm
from solespan.forecast.layers.thickness import is_guard

__all__ = [
    "end_sole",
    "fit_sole",
    "give_up",
    "open_job",
    "receive_pair",
    "say_in_use",
    "send_pair",
    "sole_below",
    "sole_on",
]

RESOLING = ("full_sole", "half_sole")
MOST_JOBS = 500


def open_job(session: Session, pair_id: str) -> dict[str, Any] | None:
    """Return the job for which a pair is away, or None; `at_bench` says it is the shop's own."""
    jobs = list_records(session, "bench_jobs", equal={"pair_id": pair_id}, limit=MOST_JOBS)
    away = [job for job in jobs if job["returned_on"] is None]
    if not away:
        return None
    job = max(away, key=lambda one: one["received_on"])
    return job | {"at_bench": find_order(session, job["job_id"]) is not None}


def send_pair(ctx: AppContext, session: Session, pair_id: str, typed: Typed) -> None:
    """Log that a pair was handed over; it is away until it is received back.

    Raises `FormProblem`, `Refused` where it is away already.
    """
    if open_job(session, pair_id) is not None:
        raise _away()
    owner = owner_of(session, "pair_id", pair_id, lock=True)
    known = {"pair_id": pair_id, "job_id": uuid4().hex[:12], "advised": False}
    job = read_record("bench_jobs", typed, known)
    if owner is not None and owner.pair_pk is not None:
        job["advised"] = came_by_advice(session, owner.pair_pk, job["received_on"])
    with telling("bench_jobs"):
        written = records.create(session, "bench_jobs", job, ctx.clock)
    follow(ctx, session, written.wearer_id)


def receive_pair(ctx: AppContext, session: Session, pair_id: str, typed: Typed) -> dict[str, Any]:
    """Log that a pair is back, with its new sole where it got one; returns `soled`.

    Raises `FormProblem`, `Refused` where it is not away, or where the shop's own bench has it.
    """
    job = open_job(session, pair_id)
    if job is None:
        raise Refused("The pair is not away.", remedy="Log its new sole, if it got one.")
    if job["at_bench"]:
        raise Refused(
            "The pair is on the bench of this shop.",
            remedy="Return it from its order on the bench page.",
        )
    back = read_day(typed, "returned_on")
    days = {"returned_on": back, "finished_on": job["finished_on"] or back}
    with telling("bench_jobs"):
        written = records.replace(
            session,
            "bench_jobs",
            {"job_id": job["job_id"]},
            days,
            versions=None,
            clock=ctx.clock,
        )
    soled = job["work"] in RESOLING and typed.get("keep_sole") != "true"
    if soled:
        _fit(ctx, session, pair_id, {**typed, "fitted_on": back.isoformat()})
    follow(ctx, session, written.wearer_id)
    return {"soled": soled}


def fit_sole(ctx: AppContext, session: Session, pair_id: str, typed: Typed) -> None:
    """Log a new sole; the one before ends that day. Raises `FormProblem`, `Refused` while away."""
    if open_job(session, pair_id) is not None:
        raise _away()
    follow(ctx, session, _fit(ctx, session, pair_id, typed))


def end_sole(ctx: AppContext, session: Session, pair_id: str, typed: Typed) -> None:
    """Let the sole on a pair end, which retires the pair. Raises `FormProblem`, `Refused`.

    With `guard_only` a guard comes off and the sole below it carries on.
    """
    sole = sole_on(session, pair_id)
    if sole is None:
        raise Refused("No sole is on this pair.", remedy="Nothing is to be ended.")
    day = read_day(typed, "removed_on")
    if typed.get("guard_only") == "true":
        _uncover(ctx, session, pair_id, day)
        return
    with telling("soles"):
        written = records.replace(
            session,
            "soles",
            {"sole_id": sole["sole_id"]},
            {"removed_on": day},
            versions=None,
            clock=ctx.clock,
        )
    follow(ctx, session, written.wearer_id)


def sole_below(session: Session, soles: Sequence[dict[str, Any]]) -> dict[str, Any] | None:
    """Return the sole below the guard on a pair, with `now_mm` and whether it was `read`.

    `soles` are those of the pair, the newest last. None where no guard is on, or where nothing is
    known below it.
    """
    words = ("material", "nominal_thickness_mm", "cover")
    below = [sole for sole in soles[:-1] if not is_guard(*(sole[word] for word in words))]
    if not below or not is_guard(*(soles[-1][word] for word in words)):
        return None
    sole, covered_on = below[-1], soles[-1]["fitted_on"]
    looks = list_records(
        session,
        "checks",
        equal={"pair_id": sole["pair_id"], "point": "ball"},
        since=("checked_on", sole["fitted_on"]),
        limit=500,
    )
    read = [c for c in looks if c["value_mm"] is not None and c["checked_on"] < covered_on]
    last = max((c["checked_on"] for c in read), default=None)
    now = [c["value_mm"] for c in read if c["checked_on"] == last]
    return sole | {"now_mm": min(now, default=sole["nominal_thickness_mm"]), "read": bool(now)}


def _uncover(ctx: AppContext, session: Session, pair_id: str, day: date) -> None:
    """Take a guard off: the sole below is on the ground again, as thick as it was read last."""
    soles = list_records(session, "soles", equal={"pair_id": pair_id}, limit=200)
    below = sole_below(session, sorted(soles, key=lambda sole: sole["fitted_on"]))
    if below is None:
        raise Refused(
            "No guard is on this pair, or nothing is known of the sole below it.",
            remedy="Log the sole that is on it now as a new one.",
        )
    new_mm, now_mm = below["nominal_thickness_mm"], below["now_mm"]
    limit_mm = below["limit_mm"]
    if limit_mm is None:
        limit_mm = default_limit_mm(below["material"], "ball", new_mm, below["cover"])
    sole = {
        "sole_id": uuid4().hex[:12],
        "pair_id": pair_id,
        "fitted_on": day,
        "material": below["material"],
        "nominal_thickness_mm": now_mm,
        "limit_mm": limit_mm if limit_mm < now_mm else None,
        "cover": below["cover"] or "full",
        "channel": below["channel"],
        "assumed": not below["read"],
        "continues": below["continues"] or below["sole_id"],
        "removed_on": None,
    }
    with telling("soles", {"fitted_on": "removed_on"}):
        written = records.create(session, "soles", sole, ctx.clock)
    follow(ctx, session, written.wearer_id)


def say_in_use(ctx: AppContext, session: Session, pair_id: str, typed: Typed) -> None:
    """Keep the owner's word that a pair is still worn today. Raises `NotFound`."""
    del typed
    row = records.read(session, "pairs", {"pair_id": pair_id})
    owner = records.read(session, "wearers", {"wearer_id": row["wearer_id"]})
    rest = {k: v for k, v in row.items() if k not in ("pair_id", "wearer_id", "version")}
    written = records.replace(
        session,
        "pairs",
        {"pair_id": pair_id},
        rest | {"in_use_on": ctx.clock.today(owner["time_zone"])},
        versions=None,
        clock=ctx.clock,
    )
    follow(ctx, session, written.wearer_id)


def give_up(ctx: AppContext, session: Session, pair_id: str, typed: Typed) -> None:
    """Retire a pair that is worn no more, as of today. Raises `NotFound`, `Refused`."""
    del typed
    row = records.read(session, "pairs", {"pair_id": pair_id})
    owner = records.read(session, "wearers", {"wearer_id": row["wearer_id"]})
    today = ctx.clock.today(owner["time_zone"])
    end_sole(ctx, session, pair_id, {"removed_on": today.isoformat()})


def _fit(ctx: AppContext, session: Session, pair_id: str, typed: Typed) -> str:
    pair = records.read(session, "pairs", {"pair_id": pair_id})
    built = {"construction": pair["construction"], "kind": pair["kind"] or ""}
    sole = read_sole({**built, **typed}, pair_id)
    ask(ctx, session, "soles", [sole], typed)
    with telling("soles"):
        return records.create(session, "soles", sole, ctx.clock).wearer_id


def _away() -> Refused:
    return Refused("The pair is away already.", remedy="Receive it back first.")
