"""Words of the bench: stages of orders and purchases, papers, stock book lines, events of hooks."""

from __future__ import annotations

__all__ = [
    "EVENT_KINDS",
    "OPEN_PURCHASES",
    "OPEN_STAGES",
    "PAPERS",
    "PURCHASE_STATES",
    "STAGES",
    "STOCK_REASONS",
]

STAGES = (
    "booked",
    "in_post",
    "received",
    "on_bench",
    "sent_on",
    "checked",
    "posted_back",
    "returned",
    "cancelled",
    "missed",
    "refused",
)
OPEN_STAGES = STAGES[:7]
PAPERS = ("condition", "before", "after")
STOCK_REASONS = ("receipt", "use", "count")
PURCHASE_STATES = ("ordered", "part_received", "received", "cancelled")
OPEN_PURCHASES = PURCHASE_STATES[:2]
EVENT_KINDS = (
    "order.booked",
    "order.moved",
    "order.cancelled",
    "order.received",
    "order.quoted",
    "order.approved",
    "order.checked",
    "order.ready",
    "order.returned",
    "sole.fitted",
    "notice.answered",
    "forecast.band_changed",
)
