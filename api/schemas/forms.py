"""Form models: which values does a page's form hold, and what is wrong with which field?

A form sends text only, and one reading serves all. An empty field is not given, and a number may
have a decimal comma. A tick is `true`, and a list has one tick for each word. `read_record` fills
a table of the log, `read_form` a message of the service. Both raise `FormProblem` by field of the
form.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from functools import cache
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from solespan.forecast.frames import TABLES, Column
from solespan.forecast.units import iron_to_mm
from solespan.forecast.values import TEXT_LENGTH, BadValue, accepted, reader_of

__all__ = [
    "FORM_FIELD",
    "LONG_TEXTS",
    "MOST_CHARACTERS",
    "FormProblem",
    "Typed",
    "Values",
    "as_columns",
    "cut",
    "given",
    "millimetres",
    "minor_units",
    "read_column",
    "read_day",
    "read_form",
    "read_record",
    "resolved",
    "schema_of",
    "share",
    "text_of",
    "uncut",
    "unit_of",
    "validated",
    "with_answer",
    "with_point",
]

MOST_CHARACTERS = 500  # of one field; a longer text is cut
LONG_TEXTS = frozenset({"notes", "shop_contact"})  # shown as a whole; too long is refused
# Fields that a program fills: what a device says of a passkey, and the edition of a form.
MOST_OF_PROGRAM = {"credential": 8000, "edition": 8000}
Typed = Mapping[str, str]
Values = dict[str, Any]
Place = tuple[int | str, ...]
M = TypeVar("M", bound=BaseModel)
# The form's name of a field of a table, where it differs from the column's.
FORM_FIELD = {
    "pair_id": "",
    "nominal_thickness_mm": "thickness",
    "limit_mm": "limit",
    "price_minor": "price",
}
# What to say when a needed field is empty; a day and any other field have words of their own.
ASK = {
    "method": "say which gauge",
    "point": "say which point",
    "work": "say what is to be done",
    "construction": "say how the sole is held",
    "material": "say what the sole is made of",
}


@dataclass
class FormProblem(Exception):  # what a person corrects, not a failure
    """What keeps a form from being logged, by field of the form; nothing was changed.

    `replaceable` says that another record stands at this key and may be replaced. `question`
    says why values are odd, though possible: they are taken once confirmed. `irons` says what they
    are in millimetres if they were typed in irons.
    """

    errors: dict[str, str]
    replaceable: bool = False
    question: str = ""
    irons: str = ""


def text_of(typed: Typed, name: str) -> str:
    """Return what was typed into a field, without spaces around it."""
    return typed.get(name, "").strip().replace("\r\n", "\n")


def cut(name: str, text: str) -> str:
    """Return a field's text, of the length that is read; browsers send CR LF."""
    longest = TEXT_LENGTH + 1 if name in LONG_TEXTS else MOST_CHARACTERS
    return text.replace("\r\n", "\n")[: MOST_OF_PROGRAM.get(name, longest)]


def uncut(text: str | None, stored: str | None) -> str | None:
    """Return the stored text where a field shows only its beginning and that was left as it is."""
    cut = stored is not None and len(stored) > MOST_CHARACTERS
    return stored if cut and stored and text == stored[:MOST_CHARACTERS].strip() else text


def with_point(text: str) -> str:
    """Write a number with a decimal point."""
    return text.strip().replace(",", ".")


def minor_units(text: str) -> int | str:
    """Read an amount in the major unit as the minor one; a text that is none stays."""
    try:
        amount = float(with_point(text))
    except ValueError:
        return text
    return round(amount * 100) if abs(amount) < 1e7 else text


def with_answer(typed: Typed) -> dict[str, str]:
    """Read the answer to a question: what was typed in irons is read so, and asked about again."""
    irons = {"unit": "iron", "sure": ""} if typed.get("sure") == "irons" else {}
    return {**typed, **irons}


def share(text: str) -> float | str:
    """Read a number of per cent as a share; a text that is none stays."""
    try:
        return float(with_point(text)) / 100
    except ValueError:
        return text


def millimetres(text: str, unit: str) -> str:
    """Write a thickness in millimetres that was typed in mm or irons; a text that is none stays."""
    plain = with_point(text)
    try:
        return f"{iron_to_mm(float(plain)):.4f}" if unit == "iron" and plain else plain
    except ValueError:
        return plain


def read_column(column: Column, typed: Typed, *, field: str = "") -> Any:
    """Read the value of one column; None where nothing was typed. Raises `FormProblem`."""
    field = field or column.name
    text = text_of(typed, field)
    if column.kind == "flag":
        return text == "true"
    if not text:
        if column.required:
            ask = "give the day" if column.kind == "date" else "this is needed"
            raise FormProblem({field: ASK.get(column.name, ask)})
        return column.default
    number = column.kind in ("number", "integer")
    try:
        value = reader_of(column)(with_point(text) if number else text)
    except BadValue:
        raise FormProblem({field: _say(column)}) from None
    return int(value) if column.kind == "integer" else value


def read_day(typed: Typed, name: str) -> date:
    """Read a day that is needed. Raises `FormProblem`."""
    day: date = read_column(Column(name, "date", "", required=True), typed)
    return day


def read_record(
    name: str, typed: Typed, known: Values, fields: Mapping[str, str] | None = None
) -> Values:
    """Read a new record of a table; `known` are values that no field asks for.

    `fields` are names of the form for columns, beside those of `FORM_FIELD`. Raises `FormProblem`
    with all that is wrong.
    """
    fields = FORM_FIELD | dict(fields or {})
    values: Values = {}
    errors: dict[str, str] = {}
    for column in TABLES[name].stored:
        if column.name in known:
            values[column.name] = known[column.name]
            continue
        try:
            field = fields.get(column.name, column.name)
            values[column.name] = read_column(column, typed, field=field)
        except FormProblem as problem:
            errors |= problem.errors
    if errors:
        raise FormProblem(errors)
    return values


def given(model: type[BaseModel], typed: Typed, *, prefix: str = "") -> Values:
    """Return what was typed into the fields of a message, ready to be validated."""
    values: Values = {}
    for name in model.model_fields:
        shape = _shape_at(model, (name,))
        text = text_of(typed, prefix + name)
        if shape.get("type") == "array":
            words = resolved(model, shape["items"]).get("enum")
            if words:
                values[name] = [w for w in words if typed.get(f"{prefix}{name}_{w}") == "true"]
        elif shape.get("type") == "boolean":
            values[name] = text == "true"
        elif text and shape.get("type") != "object":
            number = shape.get("type") in ("number", "integer")
            value = with_point(text) if number else text
            values[name] = {str(w): w for w in shape.get("enum", ())}.get(value, value)
    return values


def read_form(
    model: type[M],
    typed: Typed,
    *,
    more: Values | None = None,
    fields: Mapping[str, str] | None = None,
    says: Mapping[str, str] | None = None,
) -> M:
    """Read a form whose fields are those of a message. Raises `FormProblem`.

    `more` stands over what was typed. `fields` are the form's names, and `says` the words for what
    is accepted. Both are given where they differ from those of the message.
    """
    names = dict(fields or {})
    values = given(model, typed) | (more or {})
    return validated(model, values, lambda loc: names.get(str(loc[0]), str(loc[0])), says)


def validated(
    model: type[M],
    values: Mapping[str, Any],
    field_of: Callable[[Place], str],
    says: Mapping[str, str] | None = None,
) -> M:
    """Make a message; what it refuses stands beside the field that `field_of` names.

    Raises `FormProblem`.
    """
    try:
        return model.model_validate(values)
    except ValidationError as cause:
        errors = {}
        for fault in cause.errors():
            loc = fault["loc"] or ("",)
            names = [str(part) for part in reversed(loc) if str(part) in (says or {})]
            column = _column_at(model, loc)
            told = (says or {})[names[0]] if names else "" if column is None else _say(column)
            errors[field_of(loc)] = told or fault["msg"].removeprefix("Value error, ")
        raise FormProblem(errors) from None


def _say(column: Column) -> str:
    """Say what a field accepts, in the words of a page."""
    return f"{'choose' if column.kind == 'word' else 'give'} {accepted(column)}"


@cache
def schema_of(model: type[BaseModel]) -> dict[str, Any]:
    """Return the JSON schema of a message."""
    return model.model_json_schema()


def resolved(model: type[BaseModel], shape: dict[str, Any]) -> dict[str, Any]:
    """Follow a reference, and leave out that a value may be null."""
    while "$ref" in shape or "anyOf" in shape:
        if "$ref" in shape:
            shape = schema_of(model)["$defs"][shape["$ref"].rsplit("/", 1)[1]]
        else:
            inner = next(one for one in shape["anyOf"] if one.get("type") != "null")
            shape = {k: v for k, v in shape.items() if k != "anyOf"} | inner
    return shape


def _shape_at(model: type[BaseModel], loc: Iterable[int | str]) -> dict[str, Any]:
    """Return the JSON schema of the value at a place of a message; empty where none is."""
    shape = schema_of(model)
    for part in loc:
        inner = shape.get("properties", {}).get(part) or (
            shape.get("items") if isinstance(part, int) else shape.get("additionalProperties")
        )
        if not isinstance(inner, dict):
            return {}
        said = shape.get("description", "")  # items have the unit of their list
        shape = {"description": said} | resolved(model, inner)
    return shape


def _column_at(model: type[BaseModel], loc: Place) -> Column | None:
    """Return the value at a place of a message as a column; None where it is no single value."""
    shape = _shape_at(model, loc)
    kind = {"boolean": "flag", "string": "text"}.get(shape.get("type", ""), shape.get("type"))
    if "enum" in shape or "const" in shape:
        kind = "word"
    elif shape.get("format") == "date":
        kind = "date"
    if kind not in ("flag", "text", "word", "date", "number", "integer"):
        return None
    words = shape.get("enum", [shape["const"]] if "const" in shape else [])
    return Column(
        str(loc[-1]),
        kind,
        "",
        unit=unit_of(shape.get("description", "")),
        words=tuple(str(word) for word in words),
        low=shape.get("minimum", shape.get("exclusiveMinimum")),
        high=shape.get("maximum", shape.get("exclusiveMaximum")),
    )


def as_columns(model: type[BaseModel], fields: Mapping[str, str]) -> dict[str, Column]:
    """Return the values of a message as columns, by the name of their field in a form."""
    found = {fields.get(name, name): _column_at(model, (name,)) for name in model.model_fields}
    return {name: column for name, column in found.items() if column is not None}


def unit_of(description: str) -> str:
    """Return the unit that a description ends in; empty where it has none."""
    unit = description.partition("Unit: ")[2]
    return "" if unit.startswith("none") else unit
