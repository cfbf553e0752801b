"""Words of the bench: stages of an order, papers, and reasons of a line in the stock book."""

from __future__ import annotations

__all__ = ["OPEN_STAGES", "PAPERS", "STAGES", "STOCK_REASONS"]

STAGES = (
    "booked",
    "in_post",
    "received",
    "on_bench",
    "checked",
    "posted_back",
    "returned",
    "cancelled",
    "missed",
)
OPEN_STAGES = STAGES[:6]
PAPERS = ("condition", "before", "after")
STOCK_REASONS = ("receipt", "use", "count")
