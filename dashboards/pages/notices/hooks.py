"""Hooks page: which addresses are told of events, and what became of the newest events?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from solespan.dashboards.pages.rack.pair import FormState

__all__ = ["KIND_WORDS", "hooks_page"]

KIND_WORDS = {
    "order.booked": "a pair is booked in",
    "order.moved": "its day is moved",
    "order.cancelled": "the booking is cancelled",
    "order.received": "the pair is received",
    "order.quoted": "a price is given",
    "order.approved": "the customer approves",
    "order.checked": "the finished pair is checked",
    "order.ready": "the pair is ready",
    "order.returned": "the pair is returned",
    "sole.fitted": "a pair has a new sole",
    "notice.answered": "a notice is answered",
    "forecast.band_changed": "a forecast passes a band",
}
_STATES = {
    "pending": "waits",
    "sent": "taken",
    "failed": "failed",
    "cancelled": "not sent",
}


def hooks_page(
    rows: Sequence[Mapping[str, Any]],
    events: Sequence[Mapping[str, Any]],
    secrets: Mapping[str, str],
    kinds: Sequence[str],
    now: datetime,
) -> dict[str, Any]:
    """Gather the page of hooks.

    Parameters
    ----------
    rows : sequence of mappings
        Endpoints.
    events : sequence of mappings
        The newest events, newest first.
    secrets : mapping
        By endpoint.
    kinds : sequence of str
        Every kind of event.
    now : datetime
    """
    return {
        "endpoints": [_endpoint(row, secrets[row["endpoint_id"]], kinds, now) for row in rows],
        "events": [_event(event) for event in events],
        "kinds": [(kind, KIND_WORDS[kind]) for kind in kinds],
    }


def _endpoint(
    row: Mapping[str, Any], secret: str, kinds: Sequence[str], now: datetime
) -> dict[str, Any]:
    until = row["old_secret_until"]
    chosen = row["kinds"] or kinds
    values = {"url": row["url"], "note": row["note"] or "", "version": str(row["version"])}
    values |= {"active": "true"} if row["active"] else {}
    return {
        "endpoint_id": row["endpoint_id"],
        "url": row["url"],
        "note": row["note"] or "",
        "active": row["active"],
        "told": "every event" if not row["kinds"] else f"{len(row['kinds'])} of {len(kinds)} kinds",
        "secret": secret,
        "both": "" if until is None or until <= now else f"{until:%Y-%m-%d %H:%M}",
        "form": FormState(values | {f"kind:{kind}": "true" for kind in chosen}),
    }


def _event(event: Mapping[str, Any]) -> dict[str, Any]:
    about = event["payload"].get("order_id") or event["payload"].get("pair_id") or ""
    return {
        "event_id": event["event_id"],
        "kind": KIND_WORDS.get(event["kind"], event["kind"]),
        "about": about,
        "url": event["url"],
        "made": f"{event['made_at']:%Y-%m-%d %H:%M}",
        "state": _STATES[event["state"]],
        "problem": event["problem"] or "",
        "attempts": event["attempts"],
        "waits": event["state"] == "pending",
    }
