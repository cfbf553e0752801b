"""Stock forms service: what do the forms of the stock book ask for, and what was typed wrong?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, TypeVar

from pydantic import BaseModel

from solespan.api.schemas.bench.stock import Item, StockLine
from solespan.api.schemas.fields import NewId
from solespan.api.services.bench.order_forms import validated
from solespan.api.services.page_forms import FormProblem

__all__ = ["as_supplied", "read_item_form", "read_line_form"]

M = TypeVar("M", bound=BaseModel)
_NUMBERS = ("thickness_mm", "size_eu_from", "size_eu_to", "supply_days", "minimum_order")
_SAY = {
    "item_id": "give a short name of letters, digits, dots and dashes, such as oak-5mm",
    "use": "choose what it is used as",
    "material": "choose a material, or any",
    "thickness_mm": "give millimetres, above 0 and up to 40",
    "size_eu_from": "give an EU size from 15 to 55",
    "size_eu_to": "give an EU size from 15 to 55, no smaller than the first",
    "supply_days": "give days from 0 to 1000",
    "minimum_order": "give a number of 0 or more",
    "reason": "choose what happened",
    "quantity": "give a number of 0 or more",
}


class _Named(Item):
    """An item with its name, as the form has both."""

    item_id: NewId


def read_item_form(typed: Mapping[str, str]) -> tuple[str, Item]:
    """Read the form that keeps an item. Raises `FormProblem`."""
    values: dict[str, Any] = _given(typed, ("item_id", "use", "material", *_NUMBERS))
    if "supply_days" in values and (days := _number(values["supply_days"])) is not None:
        values["supply_days_sd"] = max(4.0, 0.15 * days)
    named = _read(_Named, values)
    return named.item_id, Item(**named.model_dump(exclude={"item_id"}))


def as_supplied(item: Item, stored: Mapping[str, Any] | None) -> Item:
    """Keep what the form does not ask for as it is stored: service level and review."""
    if stored is None:
        return item
    kept = {name: stored[name] for name in ("service_level", "review_days")}
    return item.model_copy(update=kept)


def read_line_form(typed: Mapping[str, str]) -> StockLine:
    """Read the form of one line of the book. Raises `FormProblem`."""
    return _read(StockLine, _given(typed, ("reason", "quantity", "note")))


def _read(kind: type[M], values: Mapping[str, Any]) -> M:
    try:
        return validated(kind, values, lambda loc: str(loc[0] or "size_eu_to"))
    except FormProblem as problem:
        told = {field: _SAY.get(field, said) for field, said in problem.errors.items()}
        raise FormProblem(told) from None


def _given(typed: Mapping[str, str], names: tuple[str, ...]) -> dict[str, Any]:
    given = {name: typed.get(name, "").strip() for name in names}
    return {
        name: text if name not in (*_NUMBERS, "quantity") else text.replace(",", ".")
        for name, text in given.items()
        if text
    }


def _number(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None
