"""Bench choices: what would one bench more or less change, in words and as a table?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from solespan.dashboards import wording

__all__ = ["bench_count", "bench_options", "choice_rows", "choice_words", "over_words"]

MOST_BENCHES = 50
_ROWS = (
    ("open_hours", "open hours"),
    ("worked_hours", "hours worked"),
    ("wait_days_p90", "nine in ten wait less than (days)"),
    ("longest_wait_days", "longest wait for the bench (days)"),
)


def bench_options(benches: int) -> list[tuple[int, str]]:
    """Offer one bench more and, where one stays, one less."""
    offered = []
    if benches < MOST_BENCHES:
        offered.append((benches + 1, "one more person, at one more bench"))
    if benches > 1:
        offered.append((benches - 1, "one bench less"))
    return offered


def bench_count(benches: int) -> str:
    """Count benches: 1 bench, 2 benches."""
    return f"{benches} bench{'' if benches == 1 else 'es'}"


def over_words(share: float) -> str:
    """Say how many weeks bring more work than the bench is open for."""
    if share < 0.005:
        return "Hardly any week brings more work than the bench is open for."
    return f"About {share:.0%} of the weeks bring more work than the bench is open for."


def choice_words(choices: Sequence[Mapping[str, Any]]) -> list[str]:
    """Say what the bench asked for would change; nothing where none is asked for."""
    if len(choices) < 2:
        return []
    now, then = choices[0], choices[1]
    benches, open_hours = bench_count(then["benches"]), then["open_hours"]["mean"]
    over = f"{then['weeks_over']:.0%}, now {now['weeks_over']:.0%}"
    return [
        f"With {benches}: {open_hours:,.0f} open hours, {_cell(then['worked_hours'])} worked.",
        f"Nine in ten pairs then wait less than {_days(then)} for the bench; now {_days(now)}.",
        f"Weeks that bring more work than the hours: {over}.",
    ]


def choice_rows(choices: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Lay the benches out side by side."""
    rows: list[dict[str, Any]] = [
        {"words": words, "cells": [_cell(choice[name]) for choice in choices]}
        for name, words in _ROWS
    ]
    shares = [f"{choice['weeks_over']:.0%}" for choice in choices]
    return [*rows, {"words": "weeks that bring more work than the hours", "cells": shares}]


def _days(choice: Mapping[str, Any]) -> str:
    days = max(1, round(choice["wait_days_p90"]["mean"]))
    return wording.plural(days, "day")


def _cell(spread: Mapping[str, float]) -> str:
    if spread["p10"] == spread["p90"]:
        return f"{spread['mean']:,.0f}"
    return f"{spread['mean']:,.0f} ({spread['p10']:,.0f} to {spread['p90']:,.0f})"
