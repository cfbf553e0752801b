"""Customer page: what does the page of one customer say about how much is kept of them?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

__all__ = ["customer_page"]

_WORDS = {
    "pairs": "pairs",
    "soles": "soles",
    "wear_days": "days worn",
    "checks": "checks",
    "layers": "layers",
    "forecasts": "forecast rows",
    "bench_jobs": "jobs",
    "bench_orders": "orders",
    "bench_events": "steps of orders",
    "bench_papers": "papers",
    "bench_photos": "photographs",
    "notices": "notices",
    "consents": "consents",
    "rack_plans": "plans",
    "care_done": "cares done",
}


def customer_page(record: Mapping[str, Any]) -> dict[str, Any]:
    """Return the wearer's own texts, and `kept`: words and numbers, the rest as one."""
    held: Mapping[str, list[dict[str, Any]]] = record["held"]
    wearer = held["wearers"][0]
    kept = [(word, len(held[table])) for table, word in _WORDS.items() if table in held]
    rest = sum(len(rows) for table, rows in held.items() if table not in (*_WORDS, "wearers"))
    return {
        "wearer_id": record["wearer_id"],
        "name": wearer["name"],
        "email": wearer["email"],
        "phone": wearer["phone"],
        "notes": wearer["notes"] or "",
        "kept": [*kept, ("other entries", rest)] if rest else kept,
    }
