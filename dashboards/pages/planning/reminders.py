"""Reminder page: what is an owner reminded of, on which devices, and did the last one arrive?

Takes stored values and gives words.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from solespan.dashboards import wording

__all__ = ["reminder_page"]

KINDS = {
    "book by": ("Book by", "the day to ask for a place on the bench"),
    "send by": ("Send by", "the last day to send a pair"),
    "care": ("Care", "cream, brush, and top pieces to look at"),
    "check": ("Worth a check", "one look at a sole would narrow its dates"),
}
STATES = {"pending": "is on its way", "sent": "was sent", "failed": "did not arrive"}


def reminder_page(
    wishes: Mapping[str, Any] | None,
    feed: Mapping[str, Any] | None,
    wearers: Sequence[tuple[str, str]],
    wearer: str,
    typed: Mapping[str, str],
) -> dict[str, Any]:
    """Gather the page; `wishes` and `feed` are None while nobody wears anything."""
    kept = wishes or {"kinds": [], "devices": [], "last": None}
    names = {name: "kind_" + name.replace(" ", "_") for name in KINDS}
    return {
        "wearers": wearers,
        "wearer": wearer,
        "kinds": [
            {
                "field": names[name],
                "word": word,
                "note": note,
                "on": names[name] in typed if typed else name in kept["kinds"],
            }
            for name, (word, note) in KINDS.items()
        ],
        "values": {
            name: typed.get(name, kept.get(name) or "")
            for name in ("address", "quiet_from", "quiet_to")
        },
        "on": bool(kept.get("on")),
        "public_key": kept.get("public_key", ""),
        "mail_missing": bool(kept.get("mail_missing")) and bool(kept.get("address")),
        "devices": kept["devices"],
        "last": _last(kept["last"]),
        "feed_since": str(feed["made_at"])[:10] if feed and feed["made_at"] else "",
    }


def _last(message: Mapping[str, Any] | None) -> str:
    if message is None:
        return ""
    made = message["made_at"]
    when = f"{wording.short_date(made)} at {made:%H:%M} UTC"
    said = f"The last message {STATES[message['state']]}, {when}."
    return said + (f" Why: {message['problem']}." if message["problem"] else "")
