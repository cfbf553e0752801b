"""Stock forms: which item is kept, what comes, goes or is counted, and what is ordered?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from solespan.api.schemas.bench.purchases import NewPurchase, Receipt, Supplier
from solespan.api.schemas.bench.stock import Item, StockLine
from solespan.api.schemas.fields import NewId
from solespan.api.schemas.forms import Typed, read_form

__all__ = [
    "as_supplied",
    "read_item_form",
    "read_line_form",
    "read_purchase_form",
    "read_receipt_form",
    "read_supplier_form",
    "typed_item",
    "typed_supplier",
]

_ITEM_FIELDS = (
    *("item_id", "use", "material", "thickness_mm", "size_eu_from", "size_eu_to", "supplier_id"),
    *("supply_days", "minimum_order", "pack_size", "area_dm2", "yield_share"),
)
_SUPPLIER_FIELDS = ("supplier_id", "name", "supply_days")
_SAYS = {
    "item_id": "give a short name of letters, digits, dots and dashes, such as oak-5mm",
    "thickness_mm": "give millimetres, above 0 and up to 40",
    "supplier_id": "give a short name of letters, digits, dots and dashes, such as tannery",
    "supply_days": "give days from 0 to 1000",
    "quantity": "give a number above 0",
    "expected_on": "give a day",
    "received_on": "give a day",
    "pack_size": "give a number above 0",
    "yield_share": "a piece gives at least one pair of soles, half soles or top pieces",
    "area_dm2": "give dm2 above 0 and up to 1000",
    "": "give an EU size from 15 to 55, no smaller than the first",
}


class _Named(Item):
    """An item with its name, as the form has both."""

    item_id: NewId


class _NamedSupplier(Supplier):
    """A supplier with its name, as the form has both."""

    supplier_id: NewId


def read_item_form(typed: Typed) -> tuple[str, Item]:
    """Read the form that keeps an item. Raises `FormProblem`."""
    named = read_form(_Named, typed, fields={"": "size_eu_to"}, says=_SAYS)
    if "supply_days" in named.model_fields_set:
        named.supply_days_sd = _usual_spread(named.supply_days)
    # a supply time that was not typed is the supplier's
    return named.item_id, Item(**named.model_dump(exclude={"item_id"}, exclude_unset=True))


def as_supplied(item: Item, stored: Mapping[str, Any] | None) -> Item:
    """Keep what the form does not ask for as it is stored: service level and review."""
    if stored is None:
        return item
    kept = {name: stored[name] for name in ("service_level", "review_days")}
    return item.model_copy(update=kept)


def typed_item(row: Mapping[str, Any] | None) -> dict[str, str]:
    """Write an item as it would be typed; nothing for one that is not kept."""
    return {} if row is None else {name: _text(row[name]) for name in _ITEM_FIELDS}


def typed_supplier(row: Mapping[str, Any] | None) -> dict[str, str]:
    """Write a supplier as it would be typed; nothing for one that is not kept."""
    return {} if row is None else {name: _text(row[name]) for name in _SUPPLIER_FIELDS}


def _text(value: Any) -> str:
    return "" if value is None else f"{value:g}" if isinstance(value, float) else str(value)


def read_supplier_form(typed: Typed) -> tuple[str, Supplier]:
    """Read the form that keeps a supplier. Raises `FormProblem`."""
    named = read_form(_NamedSupplier, typed, says=_SAYS)
    values = named.model_dump(exclude={"supplier_id"})
    values["supply_days_sd"] = _usual_spread(named.supply_days)
    return named.supplier_id, Supplier(**values)


def read_purchase_form(typed: Typed) -> NewPurchase:
    """Read the form of an order of an item. Raises `FormProblem`."""
    says = _SAYS | {"item_id": "choose an item", "": "give a day on or after the day of the order"}
    return read_form(NewPurchase, typed, fields={"": "expected_on"}, says=says)


def read_receipt_form(typed: Typed) -> Receipt:
    """Read the form of what came of an order. Raises `FormProblem`."""
    return read_form(Receipt, typed, says=_SAYS)


def _usual_spread(days: float) -> float:
    """SD of a supply time by its length; common practice, no source."""
    return max(4.0, 0.15 * days)


def read_line_form(typed: Typed) -> StockLine:
    """Read the form of one line of the book. Raises `FormProblem`."""
    says = {"reason": "choose what happened", "quantity": "give a number of 0 or more"}
    return read_form(StockLine, typed, says=says)
