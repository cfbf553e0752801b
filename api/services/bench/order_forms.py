"""Order forms: which order is booked, and which step is taken?

The papers' forms are in `api.services.bench.paper_forms`.
"""

from __future__ import annotations

from sqlalchemy.orm import Session

from solespan.api.schemas.bench.orders import Move, NewOrder, NewSole, OrderChange
from solespan.api.schemas.forms import (
    FormProblem,
    Typed,
    Values,
    given,
    minor_units,
    read_form,
    text_of,
    validated,
)
from solespan.api.storage.rack.records import find_record, list_records

__all__ = ["REASON", "read_booking", "read_change", "read_move", "values_of_order", "warranty_form"]

REASON = "reason:"  # then the measure's name
_SAYS = {
    "worker": "give a name of up to 100 characters, without line breaks",
    "parcel_number": "give a number of up to 100 characters, without line breaks",
    "overrule": "give a reason of up to 500 characters, without line breaks",
    "price_minor": "give an amount of 0 or more, such as 110 or 110.50",
}


def values_of_order(order: Values) -> dict[str, str]:
    """Return an order as the texts of the form that corrects it."""
    values = {
        name: "" if order[name] is None else str(order[name])
        for name in OrderChange.model_fields
        if name in order
    }
    price = order["price_minor"]
    values["price"] = "" if price is None else f"{price / 100:.2f}"
    values["by_post"] = "true" if order["by_post"] else ""
    return values | {"version": str(order["version"])}


def read_change(typed: Typed) -> Values:
    """Read the form that corrects an order: every field, an empty one as None.

    Raises `FormProblem`.
    """
    price = text_of(typed, "price")
    more: Values = {"price_minor": minor_units(price)} if price else {}
    asked = {**typed, **({} if price else {"currency": ""})}
    read = read_form(OrderChange, asked, more=more, fields={"price_minor": "price"}, says=_SAYS)
    return read.model_dump()


def warranty_form(order: Values) -> dict[str, str]:
    """Return the texts of the booking form that redoes an order under warranty, free of charge."""
    ticks = {f"more_works_{work}": "true" for work in (order["more_works"] or "").split()}
    return {
        "pair": order["pair_id"],
        "work": order["work"],
        "price": "0",
        "currency": order["currency"] or "",
        "warranty_of": order["order_id"],
        **ticks,
    }


def read_booking(session: Session, typed: Typed) -> NewOrder:
    """Read the form that books a pair in; a pair is named by its id or its label.

    Raises `FormProblem`.
    """
    more: Values = {"pair_id": _pair_named(session, text_of(typed, "pair"))}
    if price := text_of(typed, "price"):
        more["price_minor"] = minor_units(price)
    if text_of(typed, "warranty_of") and not text_of(typed, "reason"):
        raise FormProblem({"reason": "say why it is redone"})
    asked = {**typed, **({} if price else {"currency": ""})}
    fields = {"pair_id": "pair", "price_minor": "price"}
    return read_form(NewOrder, asked, more=more, fields=fields, says=_SAYS)


def _pair_named(session: Session, name: str) -> str:
    if not name:
        raise FormProblem({"pair": "name a pair"})
    if len(name) <= 200 and find_record(session, "pairs", {"pair_id": name}) is not None:
        return name
    called = list_records(session, "pairs", equal={"label": name}, limit=4)
    if len(called) == 1:
        return str(called[0]["pair_id"])
    if called:
        ids = ", ".join(str(row["pair_id"]) for row in called[:3])
        raise FormProblem({"pair": f"several pairs are called that; give the id: {ids}"})
    raise FormProblem({"pair": "no pair has this id or label"})


def read_move(typed: Typed) -> Move:
    """Read the form of a step. Raises `FormProblem`."""
    values = given(Move, typed)
    if text_of(typed, "material"):
        values["new_sole"] = given(NewSole, typed)
    values["reasons"] = {
        name.removeprefix(REASON): text.strip()
        for name, text in typed.items()
        if name.startswith(REASON) and text.strip()
    }
    return validated(Move, values, _move_field, _SAYS)


def _move_field(loc: tuple[int | str, ...]) -> str:
    if loc[0] == "new_sole" and len(loc) > 1:
        return str(loc[1])
    if loc[0] == "reasons" and len(loc) > 1:
        return f"{REASON}{loc[1]}"
    return str(loc[0])
