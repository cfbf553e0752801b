"""Own rack page.

What does a customer's own page say: which pairs, when to send each, and one tap to log?
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

import pandas as pd

from solespan.dashboards.cautions import FOR_WEARERS
from solespan.dashboards.tables import due_list

__all__ = ["own_rack_page"]

DONE = {
    "wear": "The wear is logged. Thank you.",
    "already": "That day was logged already; nothing changed.",
}


def own_rack_page(mine: Mapping[str, Any], *, today: date, done: str = "") -> dict[str, Any]:
    """Gather a customer's page from `wearer`, `pairs` (rows), `forecast` (a frame), `shop_name`."""
    wearer = mine["wearer"]
    pairs = pd.DataFrame(mine["pairs"], columns=["pair_id", "wearer_id", "label"])
    wearers = pd.DataFrame([{"wearer_id": wearer["wearer_id"], "name": wearer["name"]}])
    return {
        "name": wearer["name"] or "",
        "rows": due_list(mine["forecast"], pairs, wearers, today=pd.Timestamp(today)),
        "done": DONE.get(done, ""),
        "shop_name": mine["shop_name"],
        "cautions": FOR_WEARERS,
    }
