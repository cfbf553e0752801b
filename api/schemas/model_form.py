"""Form of a message: which fields has a page's form for every value of a message?

The fields follow from the message's JSON schema, so a new value has one without another edit. A
list of few words and each day of a week is a row of ticks or numbers. A list of things has a row
for each and some more. A row without a value is no thing. Amounts stand in the major unit, shares
and chances in per cent. A value's title is its label.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeVar

from pydantic import BaseModel

from solespan.api.schemas.forms import (
    Typed,
    minor_units,
    resolved,
    schema_of,
    share,
    text_of,
    unit_of,
    validated,
    with_point,
)
from solespan.forecast.bench.standards import SOURCE

__all__ = ["FormPart", "form_parts", "read_model_form", "typed_of", "typed_value"]

M = TypeVar("M", bound=BaseModel)
Shape = dict[str, Any]
MINOR, SHARE = "minor unit of currency", "share"
SHARES = (SHARE, "probability")
BLANK_ROWS = 3
WIDE = 8  # fields of a thing above which one blank row is enough
DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_MACHINE = "a setting of this machine"
_ORIGIN = re.compile(rf"[;,]( the)?( default( is)?)?( none,)? {SOURCE}")
_UNITS = ("_minor", "_mm")
_SHOWN_UNIT = {MINOR: "in the shop's currency"} | dict.fromkeys(SHARES, "%")
_LONG = 500  # characters from which a text has a field of several lines


@dataclass(frozen=True)
class Leaf:
    """One field: name, label, `tick`, `date`, `choice`, `long` or `text`, and default in words."""

    name: str
    label: str
    kind: str
    mode: str
    default: str
    options: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class FormPart:
    """The fields of one value of a message.

    rows : name of the row, its label and its fields.
    counted : whether the form tells how many rows there are.
    alone : whether it is one field.
    empty : whether its default is an empty list.
    """

    name: str
    label: str
    help: str
    origin: str
    rows: tuple[tuple[str, str, tuple[Leaf, ...]], ...]
    counted: bool
    alone: bool
    empty: bool


def form_parts(
    model: type[BaseModel],
    typed: Typed,
    names: Sequence[str] | None = None,
    *,
    words: Mapping[str, str] | None = None,
    defaults: Mapping[str, str] | None = None,
) -> list[FormPart]:
    """Give the fields of the values of a message, or of those of `names`.

    `typed` tells how many rows a list has. `words` say what a word of a choice means. `defaults`
    are those of values without one, as the machine has them.
    """
    default = typed_of(model()) | dict(defaults or {})
    parts = [
        _part(model, name, typed, default, machine=name in (defaults or {}))
        for name in (names or model.model_fields)
    ]
    return [_worded(part, words or {}) for part in parts]


def _worded(part: FormPart, words: Mapping[str, str]) -> FormPart:
    """Say the words of a choice as people do."""

    def leaf(one: Leaf) -> Leaf:
        options = tuple((value, words.get(value, shown)) for value, shown in one.options)
        ending = one.name.removeprefix(f"{part.name}_")
        label = words.get(ending, one.label) if one.kind == "tick" else one.label
        default = words.get(one.default, one.default)
        return replace(one, options=options, label=label, default=default)

    rows = tuple((name, label, tuple(map(leaf, leaves))) for name, label, leaves in part.rows)
    return replace(part, rows=rows)


def typed_of(message: BaseModel) -> dict[str, str]:
    """Return a message as it would be typed into its form."""
    values, typed = message.model_dump(mode="json"), {}
    for name, shape in _values(type(message)):
        if _is_list(shape):
            typed[f"{name}_rows"] = str(len(values[name]))
        typed |= dict(_texts(type(message), shape, name, values[name], ""))
    return typed


def typed_value(model: type[BaseModel], name: str, value: Any) -> str:
    """Return one value as it would be typed, such as a share in per cent."""
    shape = resolved(model, schema_of(model)["properties"][name])
    return dict(_texts(model, shape, name, value, "")).get(name, "")


def read_model_form(
    model: type[M],
    typed: Typed,
    names: Sequence[str] | None = None,
    known: Mapping[str, Any] | None = None,
    more: Mapping[str, str] | None = None,
) -> M:
    """Read the form; an empty field takes its default. Raises `FormProblem` by field.

    A form may hold the values of `names` only; the others are as `known`. `more` says what a field
    accepts in other words than its schema.
    """
    names = names or list(model.model_fields)
    values = {name: value for name, value in (known or {}).items() if name not in names}
    says: dict[str, str] = {}
    places: dict[tuple[str, int], int] = {}
    default = model().model_dump(mode="json")
    for name, shape in _values(model):
        if name not in names:
            continue
        unit = unit_of(shape.get("description", ""))
        says |= _says(model, name, shape, unit)
        if not _is_list(shape):
            value = _with_defaults(shape, _read(model, shape, name, typed, unit), default[name])
            if value is not None:
                values[name] = value
            continue
        kept: list[Any] = []
        for row in range(_row_count(typed, name, shape)):
            value = _read(model, resolved(model, shape["items"]), f"{name}_{row}", typed, unit)
            if value:
                places[name, len(kept)] = row
                kept.append(value)
        values[name] = kept

    def field_of(loc: tuple[int | str, ...]) -> str:
        row = places.get((str(loc[0]), int(loc[1]))) if _indexed(loc) else None
        parts = loc if row is None else (loc[0], row, *loc[2:])
        # a list of ticks has no field of its own, so its row tells
        return "_".join(str(part) for part in parts if part not in says or part == loc[0])

    return validated(model, values, field_of, says | dict(more or {}))


def _with_defaults(shape: Shape, value: Any, default: Any) -> Any:
    """Give the parts of a value that were left empty their defaults; of a list of words, none."""
    if isinstance(value, dict):
        return default | value
    if shape.get("type") == "array" and "prefixItems" not in shape:
        return value or []
    if isinstance(value, list):
        return [d if v is None else v for v, d in zip(value, default, strict=True)]
    return value


def _indexed(loc: Sequence[int | str]) -> bool:
    return len(loc) > 1 and isinstance(loc[1], int)


def _values(model: type[BaseModel]) -> Iterator[tuple[str, Shape]]:
    for name, shape in schema_of(model)["properties"].items():
        yield name, resolved(model, shape)


def _is_list(shape: Shape) -> bool:
    """Whether a value is a list of things, not of few words or of numbers."""
    if shape.get("type") != "array" or "prefixItems" in shape:
        return False
    return not {"enum", "const"} & {*shape["items"]} and not _is_numbers(shape)


def _is_numbers(shape: Shape) -> bool:
    return shape.get("type") == "array" and shape.get("items", {}).get("type") == "integer"


def _row_count(typed: Typed, name: str, shape: Shape) -> int:
    text = text_of(typed, f"{name}_rows")
    most: int = shape["maxItems"]
    return min(int(text) if text.isdecimal() and len(text) < 5 else 0, most)


def _inner(model: type[BaseModel], shape: Shape) -> list[tuple[str, Shape]]:
    """Return the values inside a value by the end of their field's name; none = it is one."""
    if "prefixItems" in shape:
        return [(str(k), resolved(model, one)) for k, one in enumerate(shape["prefixItems"])]
    if "properties" in shape:
        return [(name, resolved(model, one)) for name, one in shape["properties"].items()]
    if shape.get("type") == "object":
        of_all = resolved(model, shape["additionalProperties"])
        return [(word, of_all) for word in shape["propertyNames"]["enum"]]
    if shape.get("type") == "array" and not (_is_list(shape) or _is_numbers(shape)):
        words = resolved(model, shape["items"])
        return [(word, {"type": "boolean"}) for word in words.get("enum") or [words["const"]]]
    return []


def _read(model: type[BaseModel], shape: Shape, name: str, typed: Typed, unit: str) -> Any:
    """Read one value; None where nothing was typed."""
    inner = [(end, _read(model, one, f"{name}_{end}", typed, unit)) for end, one in
             _inner(model, shape)]  # fmt: skip
    if "prefixItems" in shape:
        return [value for _, value in inner]
    if shape.get("type") == "array" and not _is_numbers(shape):
        return [end for end, value in inner if value] or None
    if inner or shape.get("type") == "object":
        return {end: value for end, value in inner if value not in (None, "")} or None
    return _leaf_value(shape, text_of(typed, name), unit_of(shape.get("description", "")) or unit)


def _leaf_value(shape: Shape, text: str, unit: str) -> Any:
    kind = shape.get("type")
    if kind == "boolean":
        return text == "true"
    if not text:
        return None
    if kind == "array":
        return re.split(r"[;,\s]+", text)
    if unit in (MINOR, *SHARES):
        return minor_units(text) if unit == MINOR else share(text)
    if "enum" in shape:
        return {str(word): word for word in shape["enum"]}.get(text, text)
    return with_point(text) if kind in ("number", "integer") else text


def _texts(
    model: type[BaseModel], shape: Shape, name: str, value: Any, unit: str
) -> Iterator[tuple[str, str]]:
    """Yield the fields of a stored value, and what stands in each."""
    unit = unit_of(shape.get("description", "")) or unit
    inner = dict(_inner(model, shape))
    if _is_list(shape):
        item = resolved(model, shape["items"])
        for place, one in enumerate(value):
            yield from _texts(model, item, f"{name}_{place}", one, unit)
    elif "prefixItems" in shape:
        for (end, one), part in zip(inner.items(), value, strict=True):
            yield from _texts(model, one, f"{name}_{end}", part, unit)
    elif isinstance(value, Mapping):
        for end, part in value.items():
            yield from _texts(model, inner[end], f"{name}_{end}", part, unit)
    elif inner:
        yield from ((f"{name}_{word}", "true") for word in value)
    elif value is not None and value is not False and value != []:
        yield name, _leaf_text(value, unit)


def _leaf_text(value: Any, unit: str) -> str:
    """Write one value as it would be typed."""
    if isinstance(value, list):
        return " ".join(str(one) for one in value)
    if isinstance(value, bool):
        return "true"
    if isinstance(value, int | float):
        shown = value / 100 if unit == MINOR else 100 * value if unit in SHARES else value
        return f"{shown:.10g}"
    return str(value)


def _says(model: type[BaseModel], name: str, shape: Shape, unit: str) -> dict[str, str]:
    """Say what a value accepts whose form has another unit than the message."""
    if shape.get("type") == "array" and not _is_list(shape) and "prefixItems" not in shape:
        return {name: "choose one at least"}
    if unit in (MINOR, *SHARES):
        leaf = resolved(model, shape["additionalProperties"]) if unit == MINOR else shape
        scale = 0.01 if unit == MINOR else 100
        if "exclusiveMinimum" in leaf:
            return {name: "give a number over 0 and " + (
                "up to 100" if "maximum" in leaf else "under 100"
            )}  # fmt: skip
        low, high = leaf["minimum"], leaf["maximum"]
        return {name: f"give a number from {low * scale:g} to {high * scale:,.0f}"}
    inner = resolved(model, shape["items"]) if _is_list(shape) else {}
    return {
        end: f"{end}: tick at least one"
        for end, one in _inner(model, inner)
        if one.get("type") == "array"
    }


def _part(
    model: type[BaseModel], name: str, typed: Typed, default: Typed, *, machine: bool
) -> FormPart:
    shape = resolved(model, schema_of(model)["properties"][name])
    described = str(shape.get("description", ""))
    unit = unit_of(described)
    unit = _SHOWN_UNIT.get(unit, unit)
    counted = _is_list(shape)
    rows: list[tuple[str, str, tuple[Leaf, ...]]] = []
    if counted:
        inner = resolved(model, shape["items"])
        many = max(_row_count(typed, name, shape), _row_count(default, name, shape))
        wide = len(list(_leaves(model, inner, name, "", {}))) > WIDE
        many = min(many + (1 if wide else BLANK_ROWS), shape["maxItems"])
        for row in range(many):
            leaves = _leaves(model, inner, f"{name}_{row}", "", {})
            rows.append((f"{name}_{row}", str(row + 1), tuple(leaves)))
    else:
        rows.append((name, "", tuple(_leaves(model, shape, name, described, default))))
    said = described.partition(" Unit:")[0]
    origin = SOURCE if SOURCE in said else "a start value of this program"
    none_yet = "none" if counted and not _row_count(default, name, shape) else ""
    helped = _ORIGIN.sub("", said).replace("null", "empty").rstrip(".")
    own = _titled(name, shape)
    return FormPart(
        name,
        own if "true" in unit or "HH:MM" in unit else _with_unit(own, unit),
        f"{helped[:1].upper()}{helped[1:]}.",
        _MACHINE if machine else none_yet or origin,
        tuple(rows),
        counted,
        not counted and not _inner(model, shape),
        counted and not _row_count(default, name, shape),
    )


def _leaves(
    model: type[BaseModel], shape: Shape, name: str, described: str, default: Typed, label: str = ""
) -> Iterator[Leaf]:
    inner = _inner(model, shape)
    for end, one in inner:
        own = DAYS[int(end)] if "Monday first" in described else _titled(end, one)
        if unit_of(one.get("description", "")) == MINOR:
            own = _with_unit(own, _SHOWN_UNIT[MINOR])
        own = f"{label}: {own.lower()}" if label else own
        yield from _leaves(model, one, f"{name}_{end}", "", default, own)
    if inner:
        return
    text = default.get(name, "")
    kind = _kind(shape)
    shown = ("yes" if text else "no") if kind == "tick" else text or "not set"
    mode = {"number": "decimal", "integer": "numeric"}.get(str(shape.get("type")), "")
    options = tuple((str(word), str(word).replace("_", " ")) for word in shape.get("enum", ()))
    said = label or _titled(name, shape)
    yield Leaf(name, said, kind, mode, shown if default else "", options)


def _kind(shape: Shape) -> str:
    if shape.get("type") == "boolean":
        return "tick"
    if "enum" in shape:
        return "choice"
    if shape.get("format") == "date":
        return "date"
    return "long" if shape.get("maxLength", 0) > _LONG else "text"


def _titled(name: str, shape: Shape) -> str:
    """Return the title of a value, or its name in words."""
    title = str(shape.get("title", ""))
    return (
        title if title.casefold() not in ("", name.replace("_", " ").casefold()) else _words(name)
    )


def _words(name: str) -> str:
    for end in _UNITS:
        name = name.removesuffix(end)
    text = name.replace("_", " ")
    return f"{text[:1].upper()}{text[1:]}"


def _with_unit(text: str, unit: str) -> str:
    return f"{text} ({unit})" if unit and unit not in text else text
