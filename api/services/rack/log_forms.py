"""Forms of the log: how does a wear, a reading or a thumb check become records?

The readers return records or raise `FormProblem` by field; `log_records` writes them in one
transaction and brings the forecasts up to date.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any

from sqlalchemy.orm import Session

from solespan.api.errors import Conflict, NotFound
from solespan.api.schemas.forms import (
    FORM_FIELD,
    FormProblem,
    Typed,
    Values,
    millimetres,
    read_record,
)
from solespan.api.services.context import AppContext
from solespan.api.services.rack import records
from solespan.api.services.rack.questions import ask
from solespan.api.services.rack.records import moved_since, send_by_of
from solespan.forecast.frames import FEET, POINTS, TABLES

__all__ = ["follow", "log_records", "read_reading", "read_thumb", "read_wear", "telling"]


def read_wear(pair_id: str, typed: Typed) -> Values:
    """Read the wear-day form. Raises `FormProblem`."""
    return read_record("wear_days", typed, {"pair_id": pair_id})


def read_reading(pair_id: str, typed: Typed) -> list[Values]:
    """Read the gauge form: one point, either foot or both; irons become millimetres.

    Raises `FormProblem`.
    """
    unit = typed.get("unit", "mm")
    fields = [*FEET, *(f"lug_{foot}" for foot in FEET)]
    in_mm = {**typed, **{name: millimetres(typed.get(name, ""), unit) for name in fields}}
    feet = [foot for foot in FEET if in_mm[foot]]
    found, errors = _each(
        (foot, in_mm, {"pair_id": pair_id, "foot": foot, "grade": None}, "value_mm")
        for foot in feet or FEET[:1]
    )
    if not feet:
        errors["left"] = "give the thickness of one shoe at least"
    if errors:
        raise FormProblem(errors)
    return found


def read_thumb(pair_id: str, typed: Typed) -> list[Values]:
    """Read a thumb check: fields `left-ball` and so on, each with a grade or left out.

    Raises `FormProblem`.
    """
    found, errors = _each(
        (
            field,
            typed,
            {"pair_id": pair_id, "method": "thumb", "foot": foot, "point": point, "value_mm": None},
            "grade",
        )
        for foot in FEET
        for point in POINTS
        if typed.get(field := f"{foot}-{point}", "") not in ("", "skip")
    )
    if not found and not errors:
        errors[""] = "No point was felt, so there is nothing to log."
    if errors:
        raise FormProblem(errors)
    return found


def _each(
    checks: Iterable[tuple[str, Typed, Values, str]],
) -> tuple[list[Values], dict[str, str]]:
    """Read a check for each field; also return all that is wrong, by field."""
    found: list[Values] = []
    errors: dict[str, str] = {}
    for field, typed, known, column in checks:
        try:
            found.append(
                read_record("checks", typed, known, {column: field, "lug_mm": f"lug_{field}"})
            )
        except FormProblem as problem:
            errors |= problem.errors
    return found, errors


@contextmanager
def telling(name: str, fields: Mapping[str, str] | None = None) -> Iterator[None]:
    """Turn what the log refuses about a record of this table into a `FormProblem`.

    `fields` are names of the form for columns, beside those of `FORM_FIELD`.
    """
    names = FORM_FIELD | dict(fields or {})
    try:
        yield
    except records.RecordRefused as refused:
        raise FormProblem(
            {
                names.get(fault.field, fault.field): f"{fault.why}; accepted: {fault.accepted}"
                for fault in refused.faults
            }
        ) from refused
    except Conflict as taken_already:
        day = next((k for k in TABLES[name].key if k.endswith("_on")), "")
        raise FormProblem(
            {day: "this day is logged already with other values"}, replaceable=True
        ) from taken_already


def log_records(
    ctx: AppContext,
    session: Session,
    name: str,
    every: Sequence[Values],
    *,
    replacing: bool = False,
    typed: Typed | None = None,
) -> dict[str, Any]:
    """Write records of one pair in the caller's transaction; say whether any was new.

    Where `typed` is given, odd values are asked about unless the form confirms them with `sure`.

    The answer also says whether there is no fit yet, so that one is wanted (`needs_fit`).
    Where a wear moved the send-by date, it says what that `was` and is `now`. Raises
    `FormProblem` where a record cannot be true, or another stands at its key and `replacing` is
    false; then the transaction must not be kept.
    """
    if typed is not None:
        gauged = [str(v.get("foot", "")) for v in every]
        ask(ctx, session, name, every, typed, fields=gauged if "left" in typed else ())
    new, wearer_id = False, ""
    worn = str(every[0]["pair_id"]) if name == "wear_days" and every else ""
    was = send_by_of(session, worn) if worn else None
    for values in every:
        field = str(values.get("foot", "")) if values.get("value_mm") is not None else ""
        with telling(name, {"value_mm": field}):
            written = _log(ctx, session, name, values, replacing=replacing)
        new |= written.outcome in ("created", "replaced")
        wearer_id = written.wearer_id
    needs_fit = new and follow(ctx, session, wearer_id)
    moved = moved_since(session, worn, was) if new and worn else {}
    return {"new": new, "needs_fit": needs_fit, **moved}


def _log(
    ctx: AppContext, session: Session, name: str, values: Values, *, replacing: bool
) -> records.Written:
    if not replacing:
        return records.create(session, name, values, ctx.clock)
    key = {column: values[column] for column in TABLES[name].key}
    rest = {column: v for column, v in values.items() if column not in key}
    try:
        return records.replace(session, name, key, rest, versions=None, clock=ctx.clock)
    except NotFound:
        return records.create(session, name, values, ctx.clock)


def follow(ctx: AppContext, session: Session, wearer_id: str) -> bool:
    """Bring a wearer's forecasts up to date; return whether there is no fit yet to do it with."""
    ctx.forecaster.update_wearer(session, wearer_id)
    return ctx.forecaster.newest_fit(session) is None
