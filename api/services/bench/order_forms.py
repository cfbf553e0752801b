"""Order forms service.

What was typed into a form of the bench, and which message of the service does it say?

Booking and moves are read field by field into `NewOrder` and `Move`; what is wrong is told beside
the field, and nothing is changed. The papers' forms are in `api.services.bench.paper_forms`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError
from sqlalchemy.orm import Session

from solespan.api.schemas.bench.orders import Move, NewOrder
from solespan.api.services.page_forms import FormProblem
from solespan.api.storage.rack.records import find_record, list_records

__all__ = ["REASON", "FieldOf", "read_booking", "read_move", "validated"]

Typed = Mapping[str, str]
M = TypeVar("M", bound=BaseModel)
FieldOf = Callable[[tuple[int | str, ...]], str]
REASON = "reason:"  # then the measure's name
_SOLE = ("material", "cover", "channel", "limit_mm")
_SAY = {
    "pair_id": "name a pair",
    "work": "choose the work",
    "expected_on": "give a day as YYYY-MM-DD",
    "promised_on": "give a day as YYYY-MM-DD",
    "on": "give a day as YYYY-MM-DD",
    "worker": "give a name of up to 100 characters, without line breaks",
    "parcel_number": "give a number of up to 100 characters, without line breaks",
    "bench_minutes": "give minutes from 0 to 100000",
    "material": "choose what was fitted",
    "limit_mm": "give a number from 0 to 40 mm",
    "price_minor": "give an amount of 0 or more, such as 110 or 110.50",
    "currency": "give the three letters of the currency, such as EUR",
}


def read_booking(session: Session, typed: Typed) -> NewOrder:
    """Read the form that books a pair in; a pair is named by its id or its label.

    Raises `FormProblem`.
    """
    values: dict[str, Any] = _given(typed, ("work", "expected_on", "promised_on", "note"))
    values |= _given(typed, ("order_id",))
    values["by_post"] = typed.get("by_post") == "true"
    price = typed.get("price", "").strip().replace(",", ".")
    if price:
        values |= {"price_minor": _minor(price), "currency": typed.get("currency", "").strip()}
    values["pair_id"] = _pair_named(session, typed.get("pair", "").strip())
    fields = {"pair_id": "pair", "price_minor": "price"}
    return validated(NewOrder, values, lambda loc: fields.get(str(loc[0]), str(loc[0])))


def _pair_named(session: Session, name: str) -> str:
    if not name:
        raise FormProblem({"pair": _SAY["pair_id"]})
    if len(name) <= 200 and find_record(session, "pairs", {"pair_id": name}) is not None:
        return name
    called = list_records(session, "pairs", equal={"label": name}, limit=4)
    if len(called) == 1:
        return str(called[0]["pair_id"])
    if called:
        ids = ", ".join(str(row["pair_id"]) for row in called[:3])
        raise FormProblem({"pair": f"several pairs are called that; give the id: {ids}"})
    raise FormProblem({"pair": "no pair has this id or label"})


def _minor(price: str) -> int | str:
    try:
        amount = float(price)
    except ValueError:
        return price
    return round(amount * 100) if abs(amount) < 1e7 else price


def read_move(typed: Typed) -> Move:
    """Read the form of a step. Raises `FormProblem`."""
    values: dict[str, Any] = _given(typed, ("to", "version", "on", "worker", "note"))
    values |= _given(typed, ("parcel_number",))
    minutes = typed.get("bench_minutes", "").strip().replace(",", ".")
    if minutes:
        values["bench_minutes"] = minutes
    sole = _given(typed, _SOLE)
    if sole.get("material"):
        if "limit_mm" in sole:
            sole["limit_mm"] = sole["limit_mm"].replace(",", ".")
        values["new_sole"] = sole
    values["reasons"] = {
        name.removeprefix(REASON): text.strip()
        for name, text in typed.items()
        if name.startswith(REASON) and text.strip()
    }
    return validated(Move, values, _move_field)


def _move_field(loc: tuple[int | str, ...]) -> str:
    if loc[0] == "new_sole" and len(loc) > 1:
        return str(loc[1])
    if loc[0] == "reasons" and len(loc) > 1:
        return f"{REASON}{loc[1]}"
    return str(loc[0])


def _given(typed: Typed, names: tuple[str, ...]) -> dict[str, str]:
    """What was typed into these fields, the empty ones left out."""
    return {name: typed[name].strip() for name in names if typed.get(name, "").strip()}


def validated(kind: type[M], values: Mapping[str, Any], field_of: FieldOf) -> M:
    """Make a message; what it refuses stands beside the field that `field_of` names.

    Raises `FormProblem`.
    """
    try:
        return kind.model_validate(values)
    except ValidationError as cause:
        errors = {}
        for fault in cause.errors():
            loc = fault["loc"] or ("",)
            column = str(loc[-1])
            told = _SAY.get(column) or fault["msg"].removeprefix("Value error, ")
            errors[field_of(loc)] = told
        raise FormProblem(errors) from None
