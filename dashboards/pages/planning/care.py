"""Care page: which care is due, pair by pair, the most overdue pair first?

Care that was never noted, though it is due many times over, is no task. It is offered once to
count from today on.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from markupsafe import Markup

from solespan.dashboards import wording

__all__ = ["PAIRS_SHOWN", "care_by_pair", "care_page"]

PAIRS_SHOWN = 8
NAMES_SHOWN = 3


def care_page(
    items: Iterable[Mapping[str, Any]], pictures: Mapping[str, Markup] | None = None
) -> dict[str, Any]:
    """Gather what is due by pair, and name the pairs whose care is to be counted from today on."""
    every = list(items)
    pairs = care_by_pair(one for one in every if not one["backlog"])
    names = list(dict.fromkeys(one["label"] or one["pair_id"] for one in every if one["backlog"]))
    tasks = sum(len(one["cares"]) for one in pairs)
    return {
        "care": [one | {"picture": (pictures or {}).get(one["pair_id"], "")} for one in pairs],
        "shown": PAIRS_SHOWN,
        "summary": f"{wording.plural(len(pairs), 'pair')}, {wording.plural(tasks, 'task')}",
        "backlog": names[:NAMES_SHOWN],
        "backlog_count": len(names),
    }


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
