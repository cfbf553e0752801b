"""Found orders service.

What stands of an order, and is its pair here or elsewhere?
"""

from __future__ import annotations

from typing import Any

from sqlalchemy.orm import Session

from solespan.api.errors import Conflict, NotFound
from solespan.api.storage.bench import orders as stored

__all__ = ["describe", "found_order", "refuse_elsewhere"]


def describe(session: Session, order_id: str) -> dict[str, Any]:
    """Return an order with its audit, papers and photographs. Raises `NotFound`."""
    order = found_order(session, order_id)
    shown = {k: v for k, v in order.items() if k not in ("id", "pair_pk")}
    events = [e | {"at": e["at"].isoformat()} for e in stored.events_of(session, order["id"])]
    papers = stored.filed_papers(session, order["id"])
    return shown | {
        "events": events,
        "papers": {kind: payload for kind, (payload, _) in papers.items()},
        "paper_versions": {kind: version for kind, (_, version) in papers.items()},
        "photos": stored.photos_of(session, order["id"]),
    }


def found_order(session: Session, order_id: str, *, lock: bool = False) -> dict[str, Any]:
    """Return the order's row; with `lock` it stays so until commit. Raises `NotFound`."""
    order = stored.find_order(session, order_id, lock=lock)
    if order is None:
        raise NotFound(
            f"There is no order {order_id!r}.",
            where="order_id",
            remedy="Look it up in the list of orders: GET /v1/bench-orders",
        )
    return order


def refuse_elsewhere(session: Session, pair_pk: int, pair_id: str) -> None:
    """Refuse a pair that a job of the log, which is no order here, has away."""
    strange = [
        job for job in stored.open_jobs(session, pair_pk) if stored.find_order(session, job) is None
    ]
    if strange:
        raise Conflict(
            f"The pair {pair_id} is elsewhere: job {strange[0]} received it and has not returned "
            "it.",
            where="pair_id",
            remedy="Give that job its returned_on first.",
        )
