"""Notices page.

What do the shop's pages of notices say: who gets what and why, who not, what became of it?
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from solespan.dashboards.wording import chance, plural, short_date

__all__ = [
    "STATE_WORDS",
    "ChannelWords",
    "consent_rows",
    "history_rows",
    "notices_page",
]

STATE_WORDS = {
    "pending": "waiting",
    "claimed": "being sent",
    "sent": "sent",
    "failed": "not delivered",
    "cancelled": "not sent any more",
}
ANSWER_WORDS = {
    "booked": "booked in",
    "declined": "not this time",
    "elsewhere": "done elsewhere",
    "checked": "thumb check reported",
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
    "unknown": "nothing is known of the pair itself",
    "young": "the sole is too young",
    "not asked": "not due yet",
    "early": "too early",
    "silent": "all notices about this sole were sent",
    "second later": "second notice later",
    "no consent": "no consent",
    "no address": "no address",
    "not an address": "no usable address",
    "stopped": "address takes no mail",
    "too soon": "had a notice a short while ago",
}


@dataclass(frozen=True)
class ChannelWords:
    """What pages say of a channel.

    word, note : its name, and what a form adds.
    on_paper : whether it is handed over by printing it.
    address, lines : what the address is called that a consent keeps (empty = none), its lines.
    """

    word: str
    note: str = ""
    on_paper: bool = False
    address: str = ""
    lines: int = 1


def _word(channels: Mapping[str, ChannelWords], name: str) -> str:
    return channels[name].word if name in channels else name


def notices_page(
    to_write: Sequence[Mapping[str, Any]],
    quiet: Sequence[Mapping[str, Any]],
    counts: Mapping[str, int],
    channels: Mapping[str, ChannelWords],
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
        Pairs without a notice: `pair`, `customer`, `why`, `reason`.
    counts : mapping
        Pairs by reason.
    channels : mapping
        By name.
    gone : sequence
        Pairs that are probably no longer in use: `pair`, `pair_id`, `customer`, `chance`.
    """
    said = "No notices are due."
    if total_customers:
        said = (
            f"{plural(total_customers, 'customer')} would get a notice now, about "
            f"{plural(total_pairs, 'pair')}."
        )
    reasons = [
        {"why": why, "word": WHY_WORDS[why], "count": n, "here": why == chosen_why}
        for why, n in counts.items()
        if why not in ("due", "second", "along")
    ]
    return {
        "lead": said,
        "to_write": [dict(row) | {"channel": _word(channels, row["channel"])} for row in to_write],
        "more": total_customers - len(to_write),
        "quiet": [dict(row) | {"word": WHY_WORDS[row["why"]]} for row in quiet],
        "reasons": reasons,
        "chosen_word": WHY_WORDS.get(chosen_why, ""),
        "any": bool(total_customers),
        "gone": [dict(row) | {"chance": chance(row["chance"])} for row in gone],
        "more_gone": counts.get("gone", 0) - len(gone),
    }


def history_rows(
    rows: Sequence[Mapping[str, Any]], channels: Mapping[str, ChannelWords]
) -> list[dict[str, Any]]:
    """Say each notice of the past in words; times are UTC."""
    return [
        {
            "notice_id": row["notice_id"],
            "customer": row["customer"],
            "decided": f"{row['decided_at']:%Y-%m-%d %H:%M}",
            "channel": _word(channels, row["channel"]),
            "second": row["sequence"] == 2,
            "state": _state(row, channels),
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


def _state(row: Mapping[str, Any], channels: Mapping[str, ChannelWords]) -> str:
    """Say where a notice is; a letter is handed over by printing it."""
    known = channels.get(row["channel"])
    if known is not None and known.on_paper and row["state"] == "sent":
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
    customers: Sequence[Mapping[str, Any]], channels: Mapping[str, ChannelWords]
) -> list[dict[str, Any]]:
    """Say, for each customer and channel, whether a consent holds and how it came.

    `customers` have `wearer_id`, `name`, `email`, `stopped` and `consents` by channel.
    """
    rows = []
    for customer in customers:
        ways = []
        for channel, words in channels.items():
            held = customer["consents"].get(channel)
            said = "no"
            if held:
                since = f"since {short_date(held['given_at'])}"
                said = f"{since}, {held['given_how']} (taken by {held['given_by']})"
            ways.append(
                {
                    "channel": channel,
                    "word": words.word,
                    "held": held,
                    "said": said,
                    "address": words.address,
                    "lines": words.lines,
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
