"""Reading service: how are decisions and past notices shown to the shop's people and programs?"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import time
from typing import Any

import pandas as pd
from sqlalchemy.orm import Session

from solespan.api.errors import Conflict, NotFound
from solespan.api.notices.decide import reason_words
from solespan.api.notices.quiet import first_allowed, zone_of
from solespan.api.services.context import AppContext
from solespan.api.services.notices.deciding import DecisionSnapshot
from solespan.api.storage.notices import notices as stored
from solespan.api.storage.notices.notices import list_notices
from solespan.api.storage.notices.outbox import letters, mark_printed, retry_failed

__all__ = [
    "customer_names",
    "decision_rows",
    "describe_notice",
    "gone_pairs",
    "letters",
    "list_notices",
    "mark_printed",
    "notice_row",
    "payload_of",
    "quiet_words",
    "reason_counts",
    "retry",
]


def reason_counts(seen: DecisionSnapshot) -> dict[str, int]:
    """Count pairs by reason, most first."""
    return {str(why): int(n) for why, n in seen.decisions["why"].value_counts().items()}


def customer_names(seen: DecisionSnapshot) -> dict[str, str]:
    """Name every customer, by the id where there is no name."""
    named = seen.customers["name"].where(seen.customers["name"].notna(), None)
    ids = seen.customers["wearer_id"]
    return {w: n or w for w, n in zip(ids, named, strict=True)}


def gone_pairs(seen: DecisionSnapshot, limit: int) -> list[dict[str, Any]]:
    """List pairs that are probably no longer in use, the likeliest of all first."""
    names = customer_names(seen)
    pairs = seen.pairs[(seen.decisions["why"] == "gone").to_numpy()]
    pairs = pairs.sort_values(["chance_in_use", "pair_id"], kind="stable").head(limit)
    return [
        {
            "pair": row["label"] if isinstance(row["label"], str) else row["pair_id"],
            "pair_id": row["pair_id"],
            "customer": names.get(row["wearer_id"], row["wearer_id"]),
            "chance": float(row["chance_in_use"]),
        }
        for row in pairs.to_dict("records")
    ]


def quiet_words(seen: DecisionSnapshot, time_zone: str) -> str:
    """Say until when the quiet hours would keep a notice; empty = it may go now."""
    quiet = [time.fromisoformat(t) for t in (seen.rules.quiet_from, seen.rules.quiet_to)]
    zone = zone_of(time_zone)
    at = first_allowed(seen.now, zone, *quiet)
    return "" if at == seen.now else f"not before {at.astimezone(zone):%H:%M} their time"


def decision_rows(
    seen: DecisionSnapshot,
    *,
    verdict: str | None = None,
    wearer_id: str | None = None,
    limit: int,
    offset: int = 0,
) -> tuple[list[dict[str, Any]], int]:
    """Return decisions with their reasons in words, those written to first, and how many match."""
    frame = seen.decisions
    if verdict is not None:
        frame = frame[frame["verdict"] == verdict]
    if wearer_id is not None:
        frame = frame[frame["wearer_id"] == wearer_id]
    order = frame["verdict"].map({"notice": 0, "along": 0, "no": 1})
    frame = frame.assign(order=order).sort_values(["order", "wearer_id", "pair_id"], kind="stable")
    return [_decision(row) for row in frame.iloc[offset : offset + limit].to_dict("records")], len(
        frame
    )


def _decision(row: Mapping[Any, Any]) -> dict[str, Any]:
    written = row["verdict"] != "no"
    return {
        "pair_id": row["pair_id"],
        "wearer_id": row["wearer_id"],
        "verdict": row["verdict"],
        "why": row["why"],
        "reason": reason_words(row["why"], row["why_day"]),
        "channel": row["channel"] if written and not pd.isna(row["channel"]) else None,
        "sequence": int(row["sequence"]) if written else None,
    }


def notice_row(row: Mapping[str, Any]) -> dict[str, Any]:
    """Return a row of the history without what only the database knows."""
    return {k: v for k, v in row.items() if k != "id"}


def describe_notice(session: Session, notice_id: str) -> dict[str, Any]:
    """Return a notice with its pairs, their answers, and what was written. Raises `NotFound`."""
    found = _found(session, notice_id)
    pairs = [
        {
            "pair_id": pair["pair_id"],
            "sole_id": pair["sole_id"],
            "why": pair["why"],
            "sequence": pair["sequence"],
            "answer": pair["answer"],
            "answered_at": pair["answered_at"].isoformat() if pair["answered_at"] else None,
        }
        for pair in stored.pairs_of_notice(session, found["id"])
    ]
    hidden = ("id", "payload", "wearer_pk", "name", "time_zone", "language")
    shown = {k: v for k, v in found.items() if k not in hidden}
    payload = found["payload"]
    return shown | {"pairs": pairs, "subject": payload["subject"], "text": payload["text"]}


def payload_of(session: Session, notice_id: str) -> dict[str, Any]:
    """Return what was written in a notice. Raises `NotFound`."""
    return dict(_found(session, notice_id)["payload"])


def retry(ctx: AppContext, session: Session, notice_id: str) -> None:
    """Let a notice that failed be tried again. Raises `NotFound`, `Conflict`."""
    found = _found(session, notice_id)
    if stored.told_since(session, found["id"]):
        raise Conflict(
            "A later notice is about the same pair.",
            where="the notice's pairs",
            remedy="There is nothing more to do: the customer gets the later one.",
        )
    if not retry_failed(session, found["id"], ctx.clock.now()):
        raise Conflict(
            f"This notice is {found['state']}; only one that failed can be tried again.",
            where="the notice's state",
            remedy="Look at its state again.",
        )


def _found(session: Session, notice_id: str) -> dict[str, Any]:
    found = stored.find_notice(session, notice_id)
    if found is None:
        raise NotFound(
            "There is no such notice.",
            where="notice_id",
            remedy="Look it up in the list of notices: GET /v1/notices",
        )
    return found
