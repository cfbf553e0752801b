"""Month grid service: which days of a month were a wearer's pairs worn, and how are ticks saved?

Only boxes that differ from what the page showed are written, in one transaction. A day that was
changed elsewhere meanwhile is never overwritten. A day with more than the defaults, such as hours,
is deleted only after the page has asked.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

from sqlalchemy.orm import Session

from solespan.api.clock import Clock
from solespan.api.schemas.forms import FormProblem
from solespan.api.schemas.rack.wear_grid import Cell, WearGridForm
from solespan.api.services.context import AppContext
from solespan.api.services.rack.log_forms import follow
from solespan.api.services.rack.page_frames import MOST_ROWS
from solespan.api.services.rack.record_batch import write_batch
from solespan.api.services.rack.records import RecordRefused
from solespan.api.services.unknown_id import unknown_id
from solespan.api.storage.rack.records import Row, count_wear_days, list_records, owner_of
from solespan.forecast.frames import STANDARD_HOURS_PER_WEAR_DAY, WEAR_DAYS

__all__ = ["GridProblem", "grid_values", "save_grid"]

DEFAULTS = {c.name: c.default for c in WEAR_DAYS.stored if c.name not in WEAR_DAYS.key}


@dataclass
class GridProblem(FormProblem):
    """What keeps a grid from being saved; nothing was changed.

    `ask` holds days that carry more than a tick, `elsewhere` days that changed since the page was
    made. `wanted` holds the ticks that the person set, which the page shows again.
    """

    ask: list[Row] = field(default_factory=list)
    elsewhere: list[Cell] = field(default_factory=list)
    wanted: dict[Cell, bool] = field(default_factory=dict)


def last_of(first: date) -> date:
    """Return the last day of the month that begins on a day."""
    return (first + timedelta(days=31)).replace(day=1) - timedelta(days=1)


def grid_values(ctx: AppContext, wearer_id: str, first: date) -> dict[str, Any]:
    """Read a wearer's pairs, soles and wear days of one month: five statements.

    Raises `NotFound`.
    """
    with ctx.database.reading() as session:
        owner = owner_of(session, "wearer_id", wearer_id, lock=False)
        if owner is None:
            raise unknown_id(session, "wearers", "wearer_id", wearer_id)
        (wearer,) = list_records(session, "wearers", equal={"wearer_id": wearer_id}, limit=1)
        mine = {"wearer_id": wearer_id}
        return {
            "wearer": wearer,
            "pairs": list_records(session, "pairs", equal=mine, limit=MOST_ROWS),
            "sole_days": _sole_days(session, wearer_id, first),
            "wear_days": _month_days(session, wearer_id, first),
            "logged_days": count_wear_days(session, owner),
            "today": ctx.clock.today(owner.time_zone),
        }


def save_grid(ctx: AppContext, session: Session, form: WearGridForm) -> dict[str, Any]:
    """Write what differs from what was shown. Raises `GridProblem`, `NotFound`.

    Returns the number of days that were `added` and `deleted`, of those that `stayed` because they
    were logged elsewhere meanwhile, and `needs_fit`.
    """
    owner = owner_of(session, "wearer_id", form.wearer_id, lock=True)
    if owner is None:
        raise unknown_id(session, "wearers", "wearer_id", form.wearer_id)
    stored = {
        (row["pair_id"], row["worn_on"]): row
        for row in _month_days(session, form.wearer_id, form.first)
    }
    problem = GridProblem({}, wanted={cell: cell in form.ticked for cell in form.changed})
    put: list[Row] = []
    remove: list[Row] = []
    stayed = 0
    for cell in form.changed:
        row = stored.get(cell)
        if cell in form.ticked:
            stayed += row is not None
            if row is None:
                put.append({"pair_id": cell[0], "worn_on": cell[1], **DEFAULTS})
        elif row is None:
            continue  # somebody else has deleted it already
        elif row["version"] != form.seen[cell]:
            problem.elsewhere.append(cell)
            del problem.wanted[cell]
        elif _is_plain(row) or (form.rich == "delete" and cell in form.asked):
            remove.append({name: row[name] for name in ("pair_id", "worn_on", "version")})
        elif form.rich == "keep" and cell in form.asked:
            del problem.wanted[cell]
        else:
            problem.ask.append(row)
    _refuse_soleless(session, form, put, problem)
    if problem.ask or problem.elsewhere or problem.errors:
        raise problem
    done = _written(session, put, remove, ctx.clock, problem)
    needs_fit = bool(done) and follow(ctx, session, form.wearer_id)
    return {
        "added": len(put),
        "deleted": len(remove),
        "stayed": stayed,
        "needs_fit": needs_fit,
    }


def _month_days(session: Session, wearer_id: str, first: date) -> list[Row]:
    return list_records(
        session,
        "wear_days",
        equal={"wearer_id": wearer_id},
        since=("worn_on", first),
        until=("worn_on", last_of(first)),
        limit=MOST_ROWS,
    )


def _is_plain(day: Mapping[str, Any]) -> bool:
    """Whether a wear day carries nothing but the defaults; eight hours are one."""
    usual = day["hours"] in (None, STANDARD_HOURS_PER_WEAR_DAY)
    return usual and all(day[name] == value for name, value in DEFAULTS.items() if name != "hours")


def _sole_days(session: Session, wearer_id: str, first: date) -> dict[str, set[date]]:
    """Find the days of a month on which each pair of a wearer had a sole on."""
    last = last_of(first)
    days = [first + timedelta(days=n) for n in range(last.day)]
    on: dict[str, set[date]] = {}
    for sole in list_records(session, "soles", equal={"wearer_id": wearer_id}, limit=MOST_ROWS):
        until = sole["removed_on"] or last
        mine = {day for day in days if sole["fitted_on"] <= day <= until}
        on.setdefault(sole["pair_id"], set()).update(mine)
    return on


def _refuse_soleless(
    session: Session, form: WearGridForm, put: Sequence[Row], problem: GridProblem
) -> None:
    """Refuse new days on which the pair had no sole, or that is no pair of this wearer."""
    if not put:
        return
    on = _sole_days(session, form.wearer_id, form.first)
    wrong = [r for r in put if r["worn_on"] not in on.get(r["pair_id"], ())]
    if wrong:
        days = ", ".join(sorted({str(row["worn_on"]) for row in wrong})[:5])
        problem.errors[""] = f"A pair had no sole on: {days}."
        problem.wanted |= {(r["pair_id"], r["worn_on"]): False for r in wrong}


def _written(
    session: Session, put: list[Row], remove: list[Row], clock: Clock, problem: GridProblem
) -> set[str]:
    try:
        return write_batch(session, "wear_days", put, remove, clock).wearer_ids
    except RecordRefused as refused:
        fault = refused.faults[0]
        problem.errors[""] = f"{fault.why}; accepted: {fault.accepted}."
        raise problem from refused
