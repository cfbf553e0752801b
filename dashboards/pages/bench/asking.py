"""Asking page: whom would the year's plan ask, whom not and why, and was it right before?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from solespan.dashboards.wording import plural

__all__ = ["WHY_WORDS", "asking_page", "proved_words"]

WHY_WORDS = {
    "unknown": "nothing is known of the pair itself",
    "young": "its sole is too young",
    "early": "too early: under 1 in 10 due",
    "busy": "booked in or at a bench",
    "gone": "probably no longer in use",
    "later": "not due within a year",
}


def proved_words(proved: Mapping[str, Any]) -> str:
    """Say how many of those asked like this proved due in past years."""
    if proved["share"] is None:
        return (
            "How many of those asked prove due is not yet known: no past year was looked back on."
        )
    return (
        f"Of {plural(proved['asked'], 'pair')} that past years would have asked like this, "
        f"{proved['share']:.0%} proved due within {proved['days']} days."
    )


def asking_page(
    told: Mapping[str, Any], left_out: Sequence[Mapping[str, Any]] = (), chosen_why: str = ""
) -> dict[str, Any]:
    """Gather the page.

    Parameters
    ----------
    told : mapping
        As `asked_body` gives it: items, counts, proved, planned_on.
    left_out : sequence of mappings
        The pairs left out for the chosen reason.
    """
    counts = told["counts"]
    day = "the days of the newest plan" if told["planned_on"] else "their send-by days"
    return {
        "lead": f"{plural(counts['asked'], 'pair')} would be asked for within a year, on {day}.",
        "proved": proved_words(told["proved"]),
        "asked": told["items"],
        "more": counts["asked"] - len(told["items"]),
        "reasons": [
            {"why": why, "word": word, "count": counts[why], "here": why == chosen_why}
            for why, word in WHY_WORDS.items()
            if counts[why]
        ],
        "left_out": left_out,
        "more_left_out": counts.get(chosen_why, 0) - len(left_out),
        "chosen_word": WHY_WORDS.get(chosen_why, ""),
    }
