"""Workload page.

What does the page of the work ahead say: totals, months, the year levelled, what to order?
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import Any

import pandas as pd

from solespan.dashboards import wording
from solespan.forecast.bench.dates import back_on

__all__ = [
    "UNITS",
    "asked_next",
    "come_sentence",
    "leather_page",
    "levelling_words",
    "plan_page",
    "price_words",
    "to_order",
    "workload_page",
]

ASKED_WEEKS = 6
MOST_ASKED = 15
_LEAD_EVERY = 4
UNITS = {"welt": "m", "thread": "m", "cement": "ml"}
# Columns of a future, in words, with what a number is divided by.
_TOLD = (
    ("jobs", "jobs", 1),
    ("brought_forward", "jobs of later years that could come sooner (not counted above)", 1),
    ("worn_past_limit", "pairs that come in past their limit", 1),
    ("longest_wait_days", "longest wait for the bench (days)", 1),
    ("wait_days_p90", "nine in ten wait less than (days)", 1),
    ("idle_hours", "idle hours", 1),
    ("worked_hours", "hours worked", 1),
    ("revenue_minor", "revenue", 100),
)


def workload_page(
    weeks: pd.DataFrame,
    periods: pd.DataFrame,
    total: pd.DataFrame,
    *,
    months: int,
    currency: str,
    leans_on: str,
) -> dict[str, Any]:
    """Gather the page.

    Parameters
    ----------
    weeks, periods, total : DataFrame
        As `forecast.workload.summarise` gives them by week, by month and in total.
    leans_on : str
        What the forecast leans on, as a sentence.
    """
    whole = {row["measure"]: row for row in total.to_dict("records")}
    rows = []
    for begins_on, part in periods.groupby("begins_on"):
        of = {row["measure"]: row for row in part.to_dict("records")}
        day = pd.Timestamp(begins_on)  # type: ignore[arg-type]
        rows.append(
            {
                "month": f"{wording.MONTHS[day.month - 1]} {day.year}",
                "jobs": _span(of["jobs"]),
                "hours": _span(of["bench_hours"]),
                "revenue": _span(of["revenue_minor"], 100),
                "open": f"{of['open_hours']['mean']:.0f}",
            }
        )
    materials = [
        {"name": _material(name.removeprefix("use_")), "span": _span(row)}
        for name, row in whole.items()
        if name.startswith("use_")
    ]
    jobs, hours, revenue = whole["jobs"], whole["bench_hours"], whole["revenue_minor"]
    return {
        "months": months,
        "lead": f"In the next {months} months about {jobs['mean']:.0f} jobs "
        f"({_span(jobs)}) take {hours['mean']:.0f} bench hours ({_span(hours)}) and bring "
        f"{revenue['mean'] / 100:,.0f} {currency} ({_span(revenue, 100)}).",
        "leans_on": leans_on,
        "rows": rows,
        "weeks": week_rows(weeks),
        "materials": materials,
        "currency": currency,
    }


def week_rows(weeks: pd.DataFrame) -> list[dict[str, str]]:
    """Lay out the hours of each week, as the figure draws them."""
    rows = []
    for begins_on, part in weeks.groupby("begins_on"):
        of = {row["measure"]: row for row in part.to_dict("records")}
        hours = of["bench_hours"]
        rows.append(
            {
                "week": wording.iso(pd.Timestamp(begins_on)),  # type: ignore[arg-type]
                "expected": f"{hours['mean']:.1f}",
                "half": f"{hours['p25']:.1f} to {hours['p75']:.1f}",
                "most": f"{hours['p10']:.1f} to {hours['p90']:.1f}",
                "wide": f"{hours['p025']:.1f} to {hours['p975']:.1f}",
                "open": f"{of['open_hours']['mean']:.0f}",
            }
        )
    return rows


def leather_page(weeks: Sequence[Mapping[str, Any]], currency: str, known: bool) -> dict[str, Any]:
    """Say what money the leather ties up, in words and week by week.

    Parameters
    ----------
    known : bool
        Whether the shop has said what leather costs.
    """
    if not weeks:
        why = (
            "No leather with a cost is kept in the stock book."
            if known
            else "No cost of leather is set yet. Set it on the page Settings."
        )
        return {"words": f"The money in leather is not known. {why}", "rows": []}
    highest = max(weeks, key=lambda week: week["p90"])
    return {
        "words": f"Leather worth {weeks[0]['mean'] / 100:,.0f} {currency} is in stock today. "
        f"Ordered as advised, the stock ties up {highest['p90'] / 100:,.0f} {currency} at most "
        "in four years of five.",
        "rows": [
            {
                "week": week["begins_on"],
                "expected": f"{week['mean'] / 100:,.0f}",
                "span": _span(dict(week), 100),
            }
            for week in weeks
        ],
    }


def price_words(price_minor: Mapping[str, int], standard: Mapping[str, int]) -> str:
    """Say which prices the revenue is counted at."""
    missing = [work.replace("_", " ") for work in standard if not price_minor.get(work)]
    said = "Revenue is counted at the shop's price list."
    if dict(price_minor) == dict(standard):
        said = "Revenue is counted at usual prices (common practice, no source)."
    if missing:
        said += f" No price of its own is known for: {', '.join(missing)}."
    return said


def come_sentence(come: float, n_outcomes: int) -> str:
    """Say with which chance a due pair is taken to come in, and where that is from."""
    said = f"A due pair is taken to be booked in with a chance of {come:.0%}"
    if not n_outcomes:
        return f"{said}: common practice, no source, until this shop's own pairs have shown it."
    return f"{said}, learnt from {wording.plural(n_outcomes, 'due pair')} of this shop."


def _span(row: dict[Any, Any], scale: float = 1.0) -> str:
    return f"{row['p10'] / scale:,.0f} to {row['p90'] / scale:,.0f}"


def _material(use: str) -> str:
    return f"{use.replace('_', ' ')} ({UNITS.get(use, 'pairs')})"


def plan_page(plan: Mapping[str, Any], currency: str) -> dict[str, Any]:
    """Gather a bench plan: the futures side by side, and lead times every fourth week."""
    futures = plan["scenarios"]
    rows = []
    for name, words, scale in _TOLD:
        unit = f" ({currency})" if name == "revenue_minor" else ""
        cells = [
            f"{f[name]['mean'] / scale:,.0f} "
            f"({f[name]['p10'] / scale:,.0f} to {f[name]['p90'] / scale:,.0f})"
            for f in futures
        ]
        rows.append({"words": words + unit, "cells": cells})
    return {
        "made": wording.long_date(pd.Timestamp(plan["as_of"])),
        "names": [future["name"] for future in futures],
        "levelling": levelling_words(plan.get("levelling")),
        "rows": rows,
        "leads": [
            {
                "week": row["week_begins_on"],
                "wait": f"{row['wait_days_p50']:.0f} to {row['wait_days_p90']:.0f}",
                "back": f"{row['lead_days_p10']:.0f} to {row['lead_days_p90']:.0f}",
            }
            for row in plan["lead_times"][::_LEAD_EVERY]
        ],
    }


def levelling_words(levelling: Mapping[str, Any] | None) -> str:
    """Say why the plan could move owners to other weeks, or why it could not."""
    if levelling is None or not levelling["asked"]:
        return "Nobody is asked for a day in this plan, so nothing could move."
    before, after = levelling["carried_hours"], levelling["carried_hours_levelled"]
    waits = (
        f"Added up over the weeks, {before:,.0f} hours of work wait for a later week. "
        "A pair that waits in the shop is not worn."
    )
    if not levelling["free"]:
        return (
            "No owner could be asked for another week. The send-by day is the first day on which "
            f"an owner may be asked, and nobody is asked later. {waits} A higher risk in the "
            "forecast settings gives the plan room."
        )
    free = wording.plural(levelling["free"], "owner")
    said = f"{free} of {levelling['asked']} could be asked for an earlier week."
    if not levelling["moved"]:
        return f"{said} None is, as no move would save a wait. {waits}"
    return (
        f"{said} {levelling['moved']} are. Work that waits for a later week falls from "
        f"{before:,.0f} to {after:,.0f} hours, added up over the weeks."
    )


def asked_next(
    asked: Sequence[Mapping[str, Any]], plan: Mapping[str, Any], today: date
) -> list[dict[str, str]]:
    """List the pairs whose owners are asked in the next weeks, the soonest first.

    Parameters
    ----------
    asked : sequence of mapping
        Pairs that are asked for: `pair_id`, `pair`, `ask_on` as an ISO day.
    plan : mapping
        The newest plan; `pairs` say when each place is booked, `lead_times` when a pair is back.
    """
    until = (today + timedelta(weeks=ASKED_WEEKS)).isoformat()
    book_by = {row["pair_id"]: row["book_by"] for row in plan["pairs"]}
    leads = [
        [(date.fromisoformat(row["week_begins_on"]), row[name]) for row in plan["lead_times"]]
        for name in ("lead_days_p10", "lead_days_p90")
    ]
    rows = []
    for row in [row for row in asked if row["ask_on"] <= until][:MOST_ASKED]:
        back = (back_on(of_weeks, date.fromisoformat(row["ask_on"])) for of_weeks in leads)
        rows.append(
            {
                "pair_id": row["pair_id"],
                "pair": row["pair"],
                "ask_on": _by_now(row["ask_on"], today),
                "book_by": _by_now(book_by.get(row["pair_id"]), today),
                "back": " to ".join(
                    "not known" if day is None else wording.short_date(day) for day in back
                ),
            }
        )
    return rows


def _by_now(iso: str | None, today: date) -> str:
    """Say an ISO day in words; one that has come is now."""
    if not iso:
        return "not known"
    day = date.fromisoformat(iso)
    return "now" if day <= today else wording.short_date(day)


def to_order(advice: Sequence[Mapping[str, Any]], today: date) -> list[dict[str, str]]:
    """Say of each stock item when to order how much, the soonest first."""
    far = 10**6
    ordered = sorted(
        advice,
        key=lambda row: (row["order_in_days"] is None, row["order_in_days"] or 0, row["item_id"]),
    )
    rows = []
    for row in ordered:
        days = far if row["order_in_days"] is None else row["order_in_days"]
        when = (today + timedelta(days=days)).isoformat() if days < far else "not in this time"
        rows.append(
            {
                "item": row["item_id"],
                "there": f"{row['quantity']:g}",
                "on_order": f"{row['on_order']:g}",
                "order_at": f"{row['reorder_point']:g}",
                "when": "today" if days <= 0 else when,
                "how_much": f"{row['order_now']:g}" if row["order_now"] else "",
                "runs_out": f"{row['runs_out_chance']:.0%}",
                "promised": f"{row['stock_out_chance']:.0%}",
            }
        )
    return rows
