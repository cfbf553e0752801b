"""Wear today service: how is a wear logged with one tap, changed a moment later, and taken back?"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, timedelta
from typing import Any

from sqlalchemy.orm import Session

from solespan.api.errors import Refused
from solespan.api.schemas.forms import FormProblem, Typed, read_day
from solespan.api.services.context import AppContext
from solespan.api.services.rack import records
from solespan.api.services.rack.log_forms import follow, log_records, read_wear
from solespan.api.services.unknown_id import unknown_id
from solespan.api.storage.forecasts import forecast_reads
from solespan.api.storage.rack.records import find_record

__all__ = ["change_wear", "log_tap", "undo_wear"]


def log_tap(ctx: AppContext, session: Session, typed: Typed) -> dict[str, Any]:
    """Log a wear of `pair` on the day that `worn_on` or `day` says, else today.

    `day` is `yesterday`, as it is where the wearer lives. Where the day is logged already, with
    whatever values, nothing changes. Returns `pair`, `worn_on`, `done` and `needs_fit`, and where
    the wear moved the send-by date, what it `was` and is `now`. Raises `NotFound`, `Refused`.
    """
    pair_id = typed.get("pair", "")
    whose = forecast_reads.wearer_of_pair(session, pair_id)
    if whose is None:
        raise unknown_id(session, "pairs", "pair_id", pair_id)
    today = ctx.clock.today(whose["time_zone"])
    try:
        values = read_wear(
            pair_id, {"worn_on": _day(typed, today), "surface": "pavement", **_said(typed)}
        )
        said = {"pair": pair_id, "worn_on": values["worn_on"].isoformat()}
        key = {"pair_id": pair_id, "worn_on": values["worn_on"]}
        if find_record(session, "wear_days", key) is not None:
            return said | {"done": "already", "needs_fit": False}
        logged = log_records(ctx, session, "wear_days", [values])
    except FormProblem as problem:
        raise _refused(problem.errors) from problem
    moved = {name: logged[name] for name in ("was", "now") if name in logged}
    done: dict[str, Any] = {"done": "wear", "needs_fit": logged["needs_fit"]}
    return said | done | moved


def _day(typed: Typed, today: date) -> str:
    back = 1 if typed.get("day") == "yesterday" else 0
    return (today - timedelta(days=back)).isoformat()


def _said(typed: Typed) -> dict[str, str]:
    return {name: typed[name] for name in ("worn_on", "wet", "hours") if typed.get(name)}


def change_wear(ctx: AppContext, session: Session, typed: Typed) -> dict[str, Any]:
    """Change what was wet or how many hours, of the wear that was logged just now.

    Raises `NotFound`, `StaleVersion`, `Refused`.
    """
    key = _key(typed)
    changed: dict[str, Any] = {}
    if typed.get("wet") in ("true", "false"):
        changed["wet"] = typed["wet"] == "true"
    if typed.get("hours"):
        try:
            changed["hours"] = read_wear(
                key["pair_id"],
                {"worn_on": typed["worn_on"], "surface": "pavement", "hours": typed["hours"]},
            )["hours"]
        except FormProblem as problem:
            raise _refused(problem.errors) from problem
    written = records.replace(
        session, "wear_days", key, changed, versions=_versions(typed), clock=ctx.clock
    )
    if written.outcome != "unchanged":
        follow(ctx, session, written.wearer_id)
    return {"pair": key["pair_id"], "worn_on": typed["worn_on"], "done": "changed"}


def undo_wear(ctx: AppContext, session: Session, typed: Typed) -> dict[str, Any]:
    """Take back the wear that was logged just now. Raises `NotFound`, `StaleVersion`."""
    written = records.delete(session, "wear_days", _key(typed), versions=_versions(typed))
    follow(ctx, session, written.wearer_id)
    return {"done": "undone"}


def _key(typed: Typed) -> dict[str, Any]:
    try:
        return {"pair_id": typed.get("pair", ""), "worn_on": read_day(typed, "worn_on")}
    except FormProblem as problem:
        raise _refused(problem.errors) from problem


def _versions(typed: Typed) -> frozenset[int] | None:
    text = typed.get("version", "")
    return frozenset({int(text)}) if text.isascii() and text.isdigit() and len(text) < 19 else None


def _refused(errors: Mapping[str, str]) -> Refused:
    field, why = next(iter(errors.items()))
    return Refused(
        f"This wear cannot be logged: {field.replace('_', ' ')}: {why}." if field else f"{why}.",
        where=field,
        remedy="Nothing was changed. Open the pair and log the day there.",
    )
