"""Form readers: what was typed into a form, can it be true, and how is it logged?

A form holds text only. The readers turn it into records or say, field by field, what is wrong.
`log_records` writes them in one transaction and brings the forecasts up to date.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError
from sqlalchemy.orm import Session

from solespan.api.errors import Conflict, NotFound
from solespan.api.schemas.rack.records import RECORDS
from solespan.api.services.context import AppContext
from solespan.api.services.rack import records
from solespan.forecast.frames import FEET, POINTS, TABLES, Column
from solespan.forecast.units import iron_to_mm

__all__ = [
    "FormProblem",
    "Typed",
    "Values",
    "checked",
    "follow",
    "log_records",
    "read_reading",
    "read_thumb",
    "read_wear",
    "taken",
    "telling",
    "thickness_mm",
]

Typed = Mapping[str, str]
Values = dict[str, Any]
# The form's name of a field, where it differs from the column's.
FORM_FIELD = {"pair_id": "", "nominal_thickness_mm": "thickness", "limit_mm": "limit"}
NUMBERS = frozenset(
    column.name
    for table in TABLES.values()
    for column in table.columns
    if column.kind in ("number", "integer")
)
ASK = {
    "method": "say which gauge",
    "point": "say which point",
    "worn_on": "give the day",
    "checked_on": "give the day",
    "received_on": "give the day",
    "fitted_on": "give the day",
    "returned_on": "give the day",
    "work": "say what is to be done",
    "construction": "say how the sole is held",
    "material": "say what the sole is made of",
}
NO_NUMBER = "give a number, such as 5 or 4.5"


@dataclass
class FormProblem(Exception):  # what a person mends, not a failure
    """What keeps a form from being logged, by field of the form; nothing was changed.

    `replaceable` says that another record stands at this key and may be replaced.
    """

    errors: dict[str, str]
    replaceable: bool = False


def read_wear(pair_id: str, typed: Typed) -> Values:
    """Read the wear-day form. Raises `FormProblem`."""
    values = taken(typed, ("worn_on", "hours", "steps", "surface", "driving_minutes"))
    return checked("wear_days", values | {"pair_id": pair_id, "wet": typed.get("wet") == "true"})


def read_reading(pair_id: str, typed: Typed) -> list[Values]:
    """Read the gauge form: one point, either foot or both; irons become millimetres.

    Raises `FormProblem`.
    """
    common = taken(typed, ("checked_on", "point", "method")) | {"pair_id": pair_id}
    found: list[Values] = []
    errors: dict[str, str] = {}
    for foot in FEET:
        if not typed.get(foot, "").strip():
            continue
        try:
            value_mm = thickness_mm(typed[foot], typed.get("unit", "mm"), foot)
            found.append(checked("checks", common | {"foot": foot, "value_mm": value_mm}))
        except FormProblem as problem:
            errors |= {foot if k == "value_mm" else k: v for k, v in problem.errors.items()}
    if not found and not errors:
        errors = _errors_of("checks", common | {"foot": "left", "value_mm": 1.0})
        errors["left"] = "give the thickness of one shoe at least"
    if errors:
        raise FormProblem(errors)
    return found


def read_thumb(pair_id: str, typed: Typed) -> list[Values]:
    """Read what the thumb felt: fields `left-ball` and so on, each with a grade or left out.

    Raises `FormProblem`.
    """
    common = taken(typed, ("checked_on",)) | {"pair_id": pair_id, "method": "thumb"}
    found: list[Values] = []
    errors: dict[str, str] = {}
    for foot in FEET:
        for point in POINTS:
            field = f"{foot}-{point}"
            grade = typed.get(field, "")
            if grade in ("", "skip"):
                continue
            try:
                values = common | {"foot": foot, "point": point, "grade": grade}
                found.append(checked("checks", values))
            except FormProblem as problem:
                errors |= {field if k == "grade" else k: v for k, v in problem.errors.items()}
    if not found and not errors:
        errors[""] = "No point was felt, so there is nothing to log."
    if errors:
        raise FormProblem(errors)
    return found


def taken(typed: Typed, names: Iterable[str]) -> Values:
    """Keep what was typed, with a decimal comma as a point; an empty field is left out."""
    out = {}
    for name in names:
        text = typed.get(name, "").strip()
        if text:
            out[name] = text.replace(",", ".") if name in NUMBERS else text
    return out


def thickness_mm(text: str, unit: str, field: str) -> float | str:
    """Read a thickness in mm or irons; what is no number in mm is left for the bounds to refuse.

    Raises `FormProblem` beside `field`.
    """
    plain = text.strip().replace(",", ".")
    if unit != "iron":
        return plain
    try:
        return round(iron_to_mm(float(plain)), 4)
    except ValueError:
        raise FormProblem({field: NO_NUMBER}) from None


def _errors_of(name: str, values: Mapping[str, Any]) -> dict[str, str]:
    try:
        RECORDS[name].created.model_validate(values)
    except ValidationError as cause:
        return {
            FORM_FIELD.get(column, column): _say(TABLES[name].by_name[column], values)
            for column in (str(fault["loc"][0]) for fault in cause.errors())
        }
    return {}


def checked(name: str, values: Mapping[str, Any]) -> Values:
    """Return the values of a new record as their types. Raises `FormProblem`."""
    errors = _errors_of(name, values)
    if errors:
        raise FormProblem(errors)
    whole: Values = RECORDS[name].created.model_validate(values).model_dump()
    return whole


def _say(column: Column, values: Mapping[str, Any]) -> str:
    """Say what a field accepts, in the words of the page."""
    if column.name not in values:
        return ASK.get(column.name, "this is needed")
    if column.kind in ("number", "integer"):
        whole = "a whole number" if column.kind == "integer" else "a number"
        if column.high is None:
            return f"give {whole}, {column.low or 0:g} or more"
        return f"give {whole} from {column.low:g} to {column.high:g} {column.unit}"
    if column.kind == "date":
        return "give the day as YYYY-MM-DD"
    return f"choose one of {', '.join(column.words)}" if column.words else "this is not accepted"


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
) -> dict[str, Any]:
    """Write records of one pair in the caller's transaction; say whether any was new.

    The answer also says whether there is no fit yet, so that one is wanted (`needs_fit`). Raises
    `FormProblem` where a record cannot be true, or another stands at its key and `replacing` is
    false; then the transaction must not be kept.
    """
    new, wearer_id = False, ""
    for values in every:
        field = str(values.get("foot", "")) if values.get("value_mm") is not None else ""
        with telling(name, {"value_mm": field}):
            written = _log(ctx, session, name, values, replacing=replacing)
        new |= written.outcome in ("created", "replaced")
        wearer_id = written.wearer_id
    needs_fit = new and follow(ctx, session, wearer_id)
    return {"new": new, "needs_fit": needs_fit}


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
