"""Stock forms: which item is kept, and what comes, goes or is counted?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from solespan.api.schemas.bench.stock import Item, StockLine
from solespan.api.schemas.fields import NewId
from solespan.api.schemas.forms import Typed, read_form

__all__ = ["as_supplied", "read_item_form", "read_line_form"]

_SAYS = {
    "item_id": "give a short name of letters, digits, dots and dashes, such as oak-5mm",
    "thickness_mm": "give millimetres, above 0 and up to 40",
    "supply_days": "give days from 0 to 1000",
    "": "give an EU size from 15 to 55, no smaller than the first",
}


class _Named(Item):
    """An item with its name, as the form has both."""

    item_id: NewId


def read_item_form(typed: Typed) -> tuple[str, Item]:
    """Read the form that keeps an item. Raises `FormProblem`."""
    named = read_form(_Named, typed, fields={"": "size_eu_to"}, says=_SAYS)
    if "supply_days" in named.model_fields_set:
        named.supply_days_sd = max(4.0, 0.15 * named.supply_days)
    return named.item_id, Item(**named.model_dump(exclude={"item_id"}))


def as_supplied(item: Item, stored: Mapping[str, Any] | None) -> Item:
    """Keep what the form does not ask for as it is stored: service level and review."""
    if stored is None:
        return item
    kept = {name: stored[name] for name in ("service_level", "review_days")}
    return item.model_copy(update=kept)


def read_line_form(typed: Typed) -> StockLine:
    """Read the form of one line of the book. Raises `FormProblem`."""
    says = {"reason": "choose what happened", "quantity": "give a number of 0 or more"}
    return read_form(StockLine, typed, says=says)
