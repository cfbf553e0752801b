"""Page service: what do the shop's pages of notices read?"""

from __future__ import annotations

from typing import Any

from sqlalchemy.orm import Session

from solespan.api.notices.decide import reason_words
from solespan.api.services.context import AppContext
from solespan.api.services.notices.deciding import DecisionSnapshot, preview
from solespan.api.services.notices.reading import (
    customer_names,
    describe_notice,
    gone_pairs,
    quiet_words,
    reason_counts,
)
from solespan.api.storage.notices import notices as stored
from solespan.api.storage.notices.consents import address_hash, held_consents, load_stopped
from solespan.api.storage.rack.records import list_records

__all__ = [
    "MOST_CUSTOMERS",
    "customers_with_consents",
    "history",
    "one_notice",
    "preview_values",
]

MOST_SHOWN = 100
MOST_CUSTOMERS = 200
MOST_NOTICES = 100


def preview_values(ctx: AppContext, why: str = "") -> tuple[dict[str, Any], DecisionSnapshot]:
    """Return the arguments of `notices_page`: who would be written to now, and who not and why."""
    seen = preview(ctx)
    decisions = seen.decisions
    written = decisions["verdict"] != "no"
    names = customer_names(seen)
    named = seen.pairs["label"].where(seen.pairs["label"].notna(), seen.pairs["pair_id"])
    labels = dict(zip(seen.pairs["pair_id"], named, strict=True))
    counts = reason_counts(seen)
    chosen = why if why in counts and why not in ("due", "second", "along") else ""
    quiet = decisions[decisions["why"] == chosen] if chosen else decisions.iloc[:0]
    values = {
        "to_write": _to_write(seen, names, labels),
        "quiet": [
            {
                "pair": labels[row["pair_id"]],
                "pair_id": row["pair_id"],
                "customer": names.get(row["wearer_id"], row["wearer_id"]),
                "why": row["why"],
                "reason": reason_words(row["why"], row["why_day"]),
            }
            for row in quiet.head(MOST_SHOWN).to_dict("records")
        ],
        "counts": counts,
        "gone": gone_pairs(seen, MOST_SHOWN),
        "total_customers": int(decisions["wearer_id"][written].nunique()),
        "total_pairs": int(written.sum()),
        "chosen_why": chosen,
    }
    return values, seen


def _to_write(
    seen: DecisionSnapshot, names: dict[str, str], labels: dict[str, str]
) -> list[dict[str, Any]]:
    written = seen.decisions[seen.decisions["verdict"] != "no"]
    zones = dict(zip(seen.customers["wearer_id"], seen.customers["time_zone"], strict=True))
    rows: list[dict[str, Any]] = []
    for wearer_id, pairs in written.groupby("wearer_id", sort=False):
        if len(rows) >= MOST_SHOWN:
            break
        rows.append(
            {
                "customer": names[str(wearer_id)],
                "wearer_id": str(wearer_id),
                "channel": str(pairs["channel"].iloc[0]),
                "not_before": quiet_words(seen, zones[str(wearer_id)]),
                "pairs": [
                    {
                        "label": labels[row["pair_id"]],
                        "pair_id": row["pair_id"],
                        "reason": reason_words(row["why"], row["why_day"]),
                    }
                    for row in pairs.to_dict("records")
                ],
            }
        )
    return rows


def history(session: Session, state: str | None = None) -> list[dict[str, Any]]:
    """Gather the newest notices, of one state or all."""
    return _told(session, stored.list_notices(session, state=state, limit=MOST_NOTICES))


def one_notice(session: Session, notice_id: str) -> dict[str, Any]:
    """Gather one notice: its row, and what was written. Raises `NotFound`."""
    described = describe_notice(session, notice_id)
    row = stored.find_notice(session, notice_id)
    rows = _told(session, [row] if row else [])
    return {"row": rows[0], "subject": described["subject"], "text": described["text"]}


def _told(session: Session, rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    told = stored.answers_of(session, [row["id"] for row in rows])
    names = stored.names_of(session, [row["wearer_id"] for row in rows])
    return [
        row
        | {
            "pairs": told.get(row["id"], []),
            "customer": names.get(row["wearer_id"]) or row["wearer_id"],
        }
        for row in rows
    ]


def customers_with_consents(
    session: Session, after: str | None = None
) -> tuple[list[dict[str, Any]], str]:
    """Return a page of customers with their consents, and where the next begins."""
    rows = list_records(
        session,
        "wearers",
        equal={},
        after=None if after is None else [after],
        limit=MOST_CUSTOMERS + 1,
    )
    shown = rows[:MOST_CUSTOMERS]
    held = held_consents(session, [row["wearer_id"] for row in shown])
    addresses = {row["email"] for row in shown if row["email"]}
    addresses |= {c["address"] for ways in held.values() for c in ways.values() if c["address"]}
    hashes = {address: address_hash(address) for address in addresses}
    reasons = load_stopped(session, hashes.values())
    stopped = {a: reasons[h] for a, h in hashes.items() if h in reasons}
    customers = [
        {
            "wearer_id": row["wearer_id"],
            "name": row["name"],
            "email": row["email"],
            "stopped": stopped.get(row["email"] or "", ""),
            "consents": {
                name: dict(one) | {"stopped": stopped.get(one["address"] or "", "")}
                for name, one in held.get(row["wearer_id"], {}).items()
            },
        }
        for row in shown
    ]
    more = shown[-1]["wearer_id"] if len(rows) > len(shown) else ""
    return customers, more
