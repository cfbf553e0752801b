"""Stock page.

What does the page of the stock book say: what is there, what to order, what may be kept?
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from solespan.dashboards import wording
from solespan.dashboards.pages.bench.workload import UNITS, to_order

__all__ = ["stock_page", "weeks_page"]

STATES = {
    "ordered": "ordered",
    "part_received": "came in part",
    "received": "came",
    "cancelled": "cancelled",
}
REASONS = (("receipt", "came in"), ("use", "was used"), ("count", "counted: so much is there"))


def stock_page(
    items: Sequence[Mapping[str, Any]],
    advice: Sequence[Mapping[str, Any]],
    purchases: Sequence[Mapping[str, Any]] = (),
    suppliers: Sequence[Mapping[str, Any]] = (),
    *,
    today: date,
    missing: str,
    uses: Sequence[str],
    materials: Sequence[str],
) -> dict[str, Any]:
    """Gather the page.

    Parameters
    ----------
    items : sequence of mappings
        Stock items as they are kept: item_id, use, material, thickness_mm, quantity, supply_days.
    advice : sequence of mappings
        When to order how much, by item; empty where no year can be simulated.
    purchases : sequence of mappings
        Orders of items, open ones first: purchase_id, item_id, supplier_id, state, ordered_on,
        expected_on, quantity, received.
    suppliers : sequence of mappings
        supplier_id, name, supply_days.
    missing : str
        Why there is no advice.
    """
    open_orders = [one for one in purchases if one["state"] in ("ordered", "part_received")]
    uses_of = {one["item_id"]: str(one["use"]) for one in items}
    sellers = [(one["supplier_id"], one["name"] or one["supplier_id"]) for one in suppliers]
    return {
        "items": [_item(one) for one in items],
        "open_orders": [_purchase(one, uses_of, today) for one in open_orders],
        "closed_orders": [
            _purchase(one, uses_of, today) for one in purchases if one not in open_orders
        ],
        "sellers": [("", "none"), *sellers],
        "suppliers": [
            {
                "supplier_id": supplier_id,
                "name": name,
                "takes": wording.plural(round(one["supply_days"]), "day"),
            }
            for (supplier_id, name), one in zip(sellers, suppliers, strict=True)
        ],
        "orders": to_order(advice, today),
        "missing": missing,
        "reasons": REASONS,
        "item_options": [(one["item_id"], one["item_id"]) for one in items],
        "uses": [(use, use.replace("_", " ")) for use in uses],
        "materials": [("", "any"), *((word, wording.spaced(word)) for word in materials)],
    }


def weeks_page(
    item: Mapping[str, Any], weeks: Sequence[Mapping[str, Any]], missing: str
) -> dict[str, Any]:
    """Gather the page of what each week will take of an item; `missing` says why there is none."""
    use = str(item["use"])
    return {
        "item": item["item_id"],
        "unit": UNITS.get(use, "pairs"),
        "missing": missing,
        "weeks": [
            {
                "begins_on": row["begins_on"],
                "mean": f"{row['mean']:.1f}",
                "span": f"{row['p10']:g} to {row['p90']:g}",
            }
            for row in weeks
        ],
    }


def _purchase(one: Mapping[str, Any], uses: Mapping[str, str], today: date) -> dict[str, Any]:
    unit = UNITS.get(uses.get(one["item_id"], ""), "pairs")
    left = one["quantity"] - one["received"]
    late = one["state"] in ("ordered", "part_received") and one["expected_on"] < today.isoformat()
    return {
        "purchase_id": one["purchase_id"],
        "item": one["item_id"],
        "supplier": one["supplier_id"] or "not named",
        "quantity": f"{one['quantity']:g} {unit}",
        "came": f"{one['received']:g}",
        "left": f"{left:g}",
        "state": "late" if late else STATES[one["state"]],
        "expected": one["expected_on"],
        "closed": one["closed_on"],
    }


def _item(one: Mapping[str, Any]) -> dict[str, str]:
    use = str(one["use"])
    what = [use.replace("_", " ")]
    if one["material"]:
        what.append(wording.spaced(one["material"]))
    if one["thickness_mm"]:
        what.append(f"{one['thickness_mm']:g} mm")
    return {
        "item": str(one["item_id"]),
        "what": ", ".join(what),
        "there": f"{one['quantity']:g} {UNITS.get(use, 'pairs')}",
        "supply": wording.plural(round(one["supply_days"]), "day"),
    }
