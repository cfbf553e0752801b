"""Settings page: which sections and lists hold the words of a search?

Takes plain values and gives words.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

__all__ = ["settings_home"]

MOST_LABELS = 6


def settings_home(
    sections: Iterable[Mapping[str, Any]], places: Iterable[tuple[str, str, str]], search: str
) -> dict[str, Any]:
    """Give the sections and places that hold every word of a search, and the labels that match."""
    words = search.casefold().split()
    shown = []
    for one in sections:
        head = f"{one['title']} {one['lead']}".casefold()
        labels = [
            label
            for label, help_text, name in one["labels"]
            if all(word in f"{label} {help_text} {name}".casefold() for word in words)
        ]
        if not words or labels or all(word in head for word in words):
            state = f"{one['own']} of {one['count']} set by you" if one["count"] else ""
            shown.append(
                {
                    "title": one["title"],
                    "lead": one["lead"],
                    "address": one["address"],
                    "found": labels[:MOST_LABELS] if words else [],
                    "state": state,
                }
            )
    kept = [
        {"title": title, "lead": lead, "address": address, "found": [], "state": ""}
        for title, lead, address in places
        if all(word in f"{title} {lead}".casefold() for word in words)
    ]
    return {"sections": shown, "places": kept, "search": search}
