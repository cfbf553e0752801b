"""What do the shop's pages of notices say: who gets what and why, who not, what became of it?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from solespan.dashboards.wording import chance, plural

__all__ = ["STATE_WORDS", "consent_rows", "history_rows", "notices_page", "rules_values"]

STATE_WORDS = {
    "pending": "waiting",
    "claimed": "being sent",
    "sent": "sent",
    "failed": "not delivered",
    "cancelled": "not sent any more",
}
CHANNEL_WORDS = {"mail": "mail", "webhook": "your own software", "print": "letter"}
ANSWER_WORDS = {
    "booked": "booked in",
    "declined": "not this time",
    "elsewhere": "done elsewhere",
    "checked": "thumb check told",
}
WHY_WORDS = {
    "due": "due",
    "second": "second notice due",
    "along": "comes along with another pair",
    "no forecast": "no forecast yet",
    "retired": "retired",
    "at the bench": "at a bench",
    "booked": "booked in already",
    "gone": "probably no longer in use",
    "answered": "wants no notice about it",
    "waiting": "the last notice waits",
    "stale": "forecast too old",
    "beyond": "no day in sight",
    "not asked": "band and chance not written about",
    "early": "too early",
    "silent": "all notices of this sole are out",
    "second later": "second notice later",
    "no consent": "no consent",
    "no address": "no address",
    "not an address": "what stands as address is none",
    "stopped": "address takes no mail",
    "too soon": "written to a short while ago",
}


def notices_page(
    to_write: Sequence[Mapping[str, Any]],
    quiet: Sequence[Mapping[str, Any]],
    counts: Mapping[str, int],
    gone: Sequence[Mapping[str, Any]] = (),
    *,
    total_customers: int,
    total_pairs: int,
    chosen_why: str,
) -> dict[str, Any]:
    """Gather the page's first part.

    Parameters
    ----------
    to_write : sequence
        For each customer who would be written to: `customer`, `channel`, `not_before`, `pairs`
        (each `label`, `reason`).
    quiet : sequence
        Pairs not written about: `pair`, `customer`, `why`, `reason`.
    counts : mapping
        Pairs by reason.
    gone : sequence
        Pairs that are probably no longer in use: `pair`, `pair_id`, `customer`, `chance`.
    """
    said = "Nobody is due to be written to now."
    if total_customers:
        said = (
            f"{plural(total_customers, 'customer')} would be written to now, about "
            f"{plural(total_pairs, 'pair')}."
        )
    reasons = [
        {"why": why, "word": WHY_WORDS[why], "count": n, "here": why == chosen_why}
        for why, n in counts.items()
        if why not in ("due", "second", "along")
    ]
    return {
        "lead": said,
        "to_write": [
            dict(row) | {"channel": CHANNEL_WORDS.get(row["channel"], row["channel"])}
            for row in to_write
        ],
        "more": total_customers - len(to_write),
        "quiet": [dict(row) | {"word": WHY_WORDS[row["why"]]} for row in quiet],
        "reasons": reasons,
        "chosen_word": WHY_WORDS.get(chosen_why, ""),
        "any": bool(total_customers),
        "gone": [dict(row) | {"chance": chance(row["chance"])} for row in gone],
        "more_gone": counts.get("gone", 0) - len(gone),
    }


def history_rows(rows: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Say each notice of the past in words; times are UTC."""
    return [
        {
            "notice_id": row["notice_id"],
            "customer": row["customer"],
            "decided": f"{row['decided_at']:%Y-%m-%d %H:%M}",
            "channel": CHANNEL_WORDS.get(row["channel"], row["channel"]),
            "second": row["sequence"] == 2,
            "state": _state(row),
            "failed": row["state"] == "failed",
            "when": _when(row),
            "problem": row["problem"] or "",
            "attempts": row["attempts"],
            "answers": ", ".join(
                f"{told['label'] or told['pair_id']}: {ANSWER_WORDS[told['answer']]}"
                for told in row["pairs"]
                if told["answer"]
            ),
        }
        for row in rows
    ]


def _state(row: Mapping[str, Any]) -> str:
    """Say where a notice is; a letter is handed over by printing it."""
    if row["channel"] == "print" and row["state"] == "sent":
        return "printed" if row["printed_at"] else "on the list of letters since"
    return STATE_WORDS[row["state"]]


def _when(row: Mapping[str, Any]) -> str:
    at = (
        row["printed_at"]
        or row["done_at"]
        or (row["next_try_at"] if row["state"] == "pending" else None)
    )
    return f"{at:%Y-%m-%d %H:%M}" if at else ""


def consent_rows(
    customers: Sequence[Mapping[str, Any]], channels: Sequence[str]
) -> list[dict[str, Any]]:
    """Say, for each customer and channel, whether a consent holds and how it came.

    `customers` have `wearer_id`, `name`, `email`, `stopped` and `consents` by channel.
    """
    rows = []
    for customer in customers:
        ways = []
        for channel in channels:
            held = customer["consents"].get(channel)
            said = "no"
            if held:
                since = f"since {held['given_at']:%Y-%m-%d}"
                said = f"{since}, {held['given_how']} (taken by {held['given_by']})"
            ways.append(
                {
                    "channel": channel,
                    "word": CHANNEL_WORDS[channel],
                    "held": held,
                    "said": said,
                    "posted": channel == "print",
                }
            )
        rows.append(
            {
                "wearer_id": customer["wearer_id"],
                "name": customer["name"] or customer["wearer_id"],
                "email": customer["email"] or "no address",
                "stopped": customer["stopped"],
                "reachable": bool(customer["email"]) and not customer["stopped"],
                "ways": ways,
            }
        )
    return rows


def rules_values(rules: Mapping[str, Any]) -> dict[str, str]:
    """Write rules as the form shows them."""
    values: dict[str, str] = {}
    for name, value in rules.items():
        if isinstance(value, list):
            values |= {f"{name}_{word}": "true" for word in value}
        elif isinstance(value, bool):
            values[name] = "true" if value else ""
        elif name == "chance_at_least":
            values[name] = "" if value is None else f"{100 * value:g}"
        else:
            values[name] = "" if value is None else str(value)
    return values
