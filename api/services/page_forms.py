"""What was typed into a form of the pair page, can it be true, and how is it logged?

A form holds text only. `read_wear` and `read_check` turn it into a record or say, field by field,
what is wrong; `log_record` writes the record and brings the forecasts up to date.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError

from api.errors import Conflict
from api.schemas.records import RECORDS
from api.services import records
from api.wiring import Services
from forecast.frames import TABLES, Column
from forecast.units import iron_to_mm

__all__ = ["FormProblem", "log_record", "read_check", "read_wear"]

Typed = Mapping[str, str]
UNITS = ("mm", "iron")
# The form's name of a field, where it differs from the column's.
FORM_FIELD = {"value_mm": "thickness", "pair_id": ""}
ASK = {
    "foot": "say which foot",
    "point": "say which point",
    "grade": "say how it feels",
    "method": "say which gauge",
    "worn_on": "give the day",
    "checked_on": "give the day",
    "value_mm": "give the thickness",
}


@dataclass
class FormProblem(Exception):  # what a person mends, not a failure
    """What keeps a form from being logged, by field of the form; nothing was changed.

    `replaceable` says that another record stands at this key and may be replaced.
    """

    errors: dict[str, str]
    replaceable: bool = False


def read_wear(pair_id: str, typed: Typed) -> dict[str, Any]:
    """Read the wear-day form. Raises `FormProblem`."""
    values: dict[str, Any] = {"pair_id": pair_id, "wet": typed.get("wet", "") == "true"}
    for name in ("worn_on", "hours", "steps", "surface", "driving_minutes"):
        _take(values, name, typed.get(name, ""))
    return _checked("wear_days", values)


def read_check(pair_id: str, typed: Typed) -> dict[str, Any]:
    """Read the thumb or the gauge form; a thickness in irons becomes millimetres.

    Raises `FormProblem`.
    """
    values: dict[str, Any] = {"pair_id": pair_id}
    by_thumb = typed.get("form") == "thumb"
    for name in ("checked_on", "foot", "point", "grade" if by_thumb else "method"):
        _take(values, name, typed.get(name, ""))
    if by_thumb:
        values["method"] = "thumb"
        if "grade" not in values:
            raise FormProblem(_errors_of("checks", values) | {"grade": ASK["grade"]})
    else:
        _take_thickness(values, typed)
    return _checked("checks", values)


def _take(values: dict[str, Any], name: str, text: str) -> None:
    """Keep what was typed, with a decimal comma as a point; an empty field is left out."""
    text = text.strip()
    if text:
        number = name in ("hours", "steps", "driving_minutes", "value_mm")
        values[name] = text.replace(",", ".") if number else text


def _take_thickness(values: dict[str, Any], typed: Typed) -> None:
    _take(values, "value_mm", typed.get("thickness", ""))
    if "value_mm" not in values:
        raise FormProblem(_errors_of("checks", values) | {"thickness": ASK["value_mm"]})
    if typed.get("unit") == "iron":
        try:
            values["value_mm"] = round(iron_to_mm(float(values["value_mm"])), 4)
        except ValueError:
            raise FormProblem({"thickness": "give a number, such as 9 or 8.5"}) from None


def _errors_of(name: str, values: Mapping[str, Any]) -> dict[str, str]:
    try:
        RECORDS[name].created.model_validate(values)
    except ValidationError as cause:
        return {
            FORM_FIELD.get(column, column): _say(TABLES[name].by_name[column], values)
            for column in (str(fault["loc"][0]) for fault in cause.errors())
        }
    return {}


def _checked(name: str, values: Mapping[str, Any]) -> dict[str, Any]:
    errors = _errors_of(name, values)
    if errors:
        raise FormProblem(errors)
    checked: dict[str, Any] = RECORDS[name].created.model_validate(values).model_dump()
    return checked


def _say(column: Column, values: Mapping[str, Any]) -> str:
    """Say what a field accepts, in the words of the page."""
    if column.name not in values:
        return ASK.get(column.name, "this is needed")
    if column.kind in ("number", "integer"):
        whole = "a whole number" if column.kind == "integer" else "a number"
        return f"give {whole} from {column.low:g} to {column.high:g} {column.unit}"
    if column.kind == "date":
        return "give a day as YYYY-MM-DD"
    return f"choose one of {', '.join(column.words)}" if column.words else "this is not accepted"


def log_record(serving: Services, name: str, values: Mapping[str, Any], *, replacing: bool) -> bool:
    """Write one record and update its wearer's forecasts; return whether it was new.

    Raises `FormProblem` where the record cannot be true, or another stands at its key and
    `replacing` is false.
    """
    table = TABLES[name]
    key = {column: values[column] for column in table.key}
    try:
        with serving.database.writing() as session:
            if replacing:
                rest = {column: v for column, v in values.items() if column not in key}
                written = records.replace(
                    session, name, key, rest, versions=None, clock=serving.clock
                )
            else:
                written = records.create(session, name, values, serving.clock)
            if written.outcome != "unchanged":
                serving.forecaster.update_wearer(session, written.wearer_id)
            needs_fit = serving.forecaster.newest_fit(session) is None
    except records.RecordRefused as refused:
        raise FormProblem(
            {
                FORM_FIELD.get(fault.field, fault.field): f"{fault.why}; accepted: {fault.accepted}"
                for fault in refused.faults
            }
        ) from refused
    except Conflict as taken:
        day = table.key[1]
        raise FormProblem(
            {day: "this day is logged already with other values"}, replaceable=True
        ) from taken
    if needs_fit:
        serving.upkeep.wake()
    return written.outcome == "created"
