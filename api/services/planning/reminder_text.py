"""Reminder text: what is there to tell a wearer now, and how does one message say all of it?

Days and words come from `dates`, care from `care`: a reminder says what calendar and page say.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Any

import pandas as pd
from markupsafe import Markup
from sqlalchemy.orm import Session

from solespan.api.errors import SolespanError
from solespan.api.services.context import AppContext
from solespan.api.services.planning.care import care_to_do
from solespan.api.services.planning.dates import BOOK_BY, SEND_BY, day_words, due_dates, pair_names
from solespan.api.services.planning.rack import KnownRack, known_rack
from solespan.api.storage.forecasts.forecasts import load_forecasts
from solespan.forecast.errors import ForecastError

__all__ = ["CARE", "CHECK", "KINDS", "Fact", "facts_of", "mail_parts", "push_text", "subject_of"]

CARE, CHECK = "care", "check"
KINDS = (BOOK_BY, SEND_BY, CARE, CHECK)
AHEAD = timedelta(days=14)
# A check is worth it where it narrows the dates by so much.
NARROWER_DAYS, NARROWER_PART = 21, 0.25
MOST_PUSH_LINES, MOST_PUSH_LETTERS = 4, 120


@dataclass(frozen=True)
class Fact:
    """One thing to tell: a key that stays the same while it is the same, a line, its pair."""

    key: str
    line: str
    pair_id: str


def facts_of(
    ctx: AppContext, session: Session, wearer_id: str, kinds: Collection[str]
) -> list[Fact]:
    """List what there is to tell a wearer today. Raises `NotFound`."""
    rack = known_rack(ctx, session, wearer_id)
    forecast = load_forecasts(session, [wearer_id])
    found = list(_of_dates(rack, forecast, kinds))
    if CARE in kinds:
        names = pair_names(rack)
        for item in care_to_do(session, rack, forecast):
            pair_id = str(item["pair_id"])
            line = f"Care: {names[pair_id]}: {item['what']}."
            found.append(Fact(f"care {pair_id} {item['care']} {item['since']}", line, pair_id))
    if CHECK in kinds:
        found += _worth_a_check(ctx, session, rack, forecast)
    # A name may hold a line break; a message's line may not.
    return [replace(fact, line=" ".join(fact.line.split())) for fact in found]


def _of_dates(rack: KnownRack, forecast: pd.DataFrame, kinds: Collection[str]) -> Iterator[Fact]:
    near = [e for e in due_dates(rack, forecast) if e.on <= rack.today + AHEAD]
    for entry in sorted(near, key=lambda e: e.on):
        if entry.kind in kinds:
            line = f"{entry.summary}, {day_words(entry.on, rack.today)}."
            yield Fact(entry.uid, line, entry.pair_id)


def _worth_a_check(
    ctx: AppContext, session: Session, rack: KnownRack, forecast: pd.DataFrame
) -> list[Fact]:
    """Look at the pair that is due next: one look at a sole is enough for a week."""
    main = forecast[(forecast["foot"] == "pair") & (forecast["point"] == "ball")]
    main = main[main["band"].isin(("watch", "book in")) & main["send_by"].notna()]
    if main.empty:
        return []
    pair_id = str(main.sort_values("send_by", kind="stable").iloc[0]["pair_id"])
    try:
        checks = ctx.forecaster.explanation(session, pair_id).next_checks
    except (SolespanError, ForecastError):
        return []
    gained = checks["interval_days_now"] - checks["interval_days_after"]
    least = (checks["interval_days_now"] * NARROWER_PART).clip(lower=NARROWER_DAYS)
    if not (gained >= least).any():
        return []
    month = f"{rack.today:%Y-%m}"
    line = f"Worth a check now: {pair_names(rack)[pair_id]}."
    return [Fact(f"check {pair_id} {month}", line, pair_id)]


def subject_of(facts: Sequence[Fact]) -> str:
    """Say in one line what a message is about."""
    pairs = len({fact.pair_id for fact in facts})
    return f"Your shoes: {pairs} {'pair asks' if pairs == 1 else 'pairs ask'} for something"


def push_text(lines: Sequence[str]) -> str:
    """Gather the lines that fit a phone's lock screen."""
    shown = [line[:MOST_PUSH_LETTERS] for line in lines[:MOST_PUSH_LINES]]
    more = len(lines) - len(shown)
    return "\n".join([*shown, *([f"and {more} more"] if more else [])])


def mail_parts(payload: dict[str, Any]) -> tuple[str, str]:
    """Write the text and the HTML of a mail."""
    lines, address, off = payload["lines"], payload["address"], payload["off"]
    text = "\n".join([*(f"- {line}" for line in lines), "", f"Your rack: {address}"])
    text += f"\n\nNo more reminders: {off}\n"
    items = Markup("").join(Markup("<li>{}</li>").format(line) for line in lines)
    html = Markup(
        '<ul>{}</ul><p><a href="{}">Your rack</a></p><p><a href="{}">No more reminders</a></p>'
    ).format(items, address, off)
    return text, str(html)
