"""Stock page.

What does the page of the stock book say: what is there, what to order, what may be kept?
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from solespan.dashboards import wording
from solespan.dashboards.pages.bench.workload import UNITS, to_order

__all__ = ["stock_page"]

REASONS = (("receipt", "came in"), ("use", "was used"), ("count", "counted: so much is there"))


def stock_page(
    items: Sequence[Mapping[str, Any]],
    advice: Sequence[Mapping[str, Any]],
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
    missing : str
        Why there is no advice.
    """
    return {
        "items": [_item(one) for one in items],
        "orders": to_order(advice, today),
        "missing": missing,
        "reasons": REASONS,
        "item_options": [(one["item_id"], one["item_id"]) for one in items],
        "uses": [(use, use.replace("_", " ")) for use in uses],
        "materials": [("", "any"), *((word, wording.spaced(word)) for word in materials)],
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
