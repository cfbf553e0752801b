"""Care page: which care is due, pair by pair, the most overdue pair first?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

__all__ = ["PAIRS_SHOWN", "care_by_pair"]

PAIRS_SHOWN = 4


def care_by_pair(items: Iterable[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Gather what the service says is due by pair, in the order of its first mention.

    Each item has `pair_id`, `label`, `care`, `what` and `reason`. The answer has `pair_id`, `pair`
    and `cares`, each with `care`, `what` and `why`.
    """
    found: dict[str, dict[str, Any]] = {}
    for one in items:
        of_pair = found.setdefault(
            one["pair_id"],
            {"pair_id": one["pair_id"], "pair": one["label"] or one["pair_id"], "cares": []},
        )
        what = str(one["what"])
        of_pair["cares"].append(
            {
                "care": one["care"],
                "what": f"{what[:1].upper()}{what[1:]}.",
                "why": one["reason"],
            }
        )
    return list(found.values())
