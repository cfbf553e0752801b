"""Answers of the pair page: when does it need a new sole, may I wear it, and what now?

Each answer is a few words and a sentence or two. The heel and the toe are told of where their date
comes before the ball's. All words come from the functions that the list uses.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from solespan.dashboards import wording
from solespan.dashboards.pages.rack.verdict import verdict
from solespan.dashboards.wears_left import wears_in_words, wears_left
from solespan.forecast.dates.day_words import list_date
from solespan.forecast.dates.points_before import REPAIRS
from solespan.forecast.frames import PROBABLY_GONE

__all__ = ["Answer", "answers", "moved_words"]


@dataclass(frozen=True)
class Answer:
    """One of the three answers: the question, what is said at once, and more."""

    ask: str
    say: str
    more: str


def answers(
    row: Mapping[str, Any] | None,
    before: Sequence[Mapping[str, Any]],
    next_checks: pd.DataFrame | None,
    *,
    today: pd.Timestamp,
    horizon_days: int,
    has_sole: bool,
    do: str = "",
) -> list[Answer]:
    """Answer the three questions about one pair.

    Parameters
    ----------
    row : mapping or None
        Its resole row of the forecast.
    before : sequence of mappings
        Rows of its heel and toe, where they come before the ball.
    next_checks : DataFrame, optional
        What a check would narrow, best first.
    do : str
        What to do with a pair at its end, where costs were weighed: a sentence.
    """
    if row is None:
        return [Answer("When?", *_unknown(has_sole))]
    if row["band"] in ("away", "retired"):
        return [Answer("When?", *_at_rest(row["band"]))]
    return [
        Answer(
            "When?",
            verdict(row, today, horizon_days, word="retire" if do.startswith("Retire") else ""),
            _when(row, today, horizon_days),
        ),
        Answer("May I wear it?", *_wear(row)),
        Answer("What now?", *_now(row, before, next_checks, today, do)),
    ]


def _unknown(has_sole: bool) -> tuple[str, str]:
    if has_sole:
        return "Working, about 10 seconds", "The forecast is being made. Load this page again."
    return "Not known", "The pair needs a sole with its thickness first."


def _at_rest(band: Any) -> tuple[str, str]:
    if band == "away":
        return "At a shop", "The forecast goes on when the pair is back."
    return "Retired", "Its last sole was taken off."


def _when(row: Mapping[str, Any], today: pd.Timestamp, horizon_days: int) -> str:
    first, last = row["due_p10"], row["due_p90"]
    if pd.isna(first):
        return f"No new sole is due within {wording.span(horizon_days)}."
    if pd.notna(last) and last <= today:
        return "It is at its limit already."
    start = "now" if first <= today else list_date(first, today)
    if pd.isna(last):
        return f"A new sole is due from {start} on, perhaps years later."
    end = list_date(last, today)
    if start == end:
        return f"A new sole is due about {end}."
    if start == "now":
        return f"A new sole is due now or by {end}."
    return f"A new sole is due between {start} and {end}."


def _wear(row: Mapping[str, Any]) -> tuple[str, str]:
    first = row["first_foot"]
    foot = f"The {first} shoe goes first." if isinstance(first, str) else "Both shoes about even."
    if pd.notna(row["chance_in_use"]) and row["chance_in_use"] < PROBABLY_GONE:
        return "Probably no longer in use", "Nothing was heard of it for long."
    if row["band"] == "stop wearing":
        return "No, stop wearing it", f"It is likely at its limit. {foot}"
    look = "" if row["band"] == "sound" else " Look at the sole first."
    known = wears_in_words(row)
    if known is None:
        return "Yes", f"{foot}{look}"
    middle, low, high = known
    count = "one more wear" if middle == 1 else f"about {middle} more wears" if middle else "hardly"
    said = f"Yes, {count}" if middle else "Hardly: under 1 more wear"
    spread = f"{low} to {high} wears{_from(row)}. " if low < high else f"{_from(row)} "
    return said, f"{spread.strip(' ,')} {foot}{look}".strip()


def _from(row: Mapping[str, Any]) -> str:
    """Where the count comes from, if no wear is logged."""
    _, comma, pace = wears_left(row).partition(", ")
    return f"{comma}{pace}"


def _now(
    row: Mapping[str, Any],
    before: Sequence[Mapping[str, Any]],
    next_checks: pd.DataFrame | None,
    today: pd.Timestamp,
    do: str,
) -> tuple[str, str]:
    points = [_point(one, today) for one in before]
    if do:
        say, _, why = do.partition(".")
        return say, " ".join([why.strip(), *points]).strip()
    more = " ".join(filter(None, [*points, _check(next_checks)]))
    book_by = row["book_by"]
    if pd.isna(book_by):
        return "Nothing to book", more
    when = "now" if book_by <= today else f"by {list_date(book_by, today)}"
    return f"Book {when}", more


def _point(point: Mapping[str, Any], today: pd.Timestamp) -> str:
    """Say when a point comes to its end before the ball."""
    repair = REPAIRS[str(point["point"])]
    send_by = point["send_by"]
    when = "now" if send_by <= today else f"by {list_date(send_by, today)}"
    return f"The {point['point']} comes first: a new {repair} {when}."


def _check(checks: pd.DataFrame | None) -> str:
    """Say what the best check would bring, where it brings something."""
    if checks is None or checks.empty:
        return ""
    best = checks.iloc[0]
    now, after = best["interval_days_now"], best["interval_days_after"]
    if pd.isna(now) or pd.isna(after) or wording.span(now) == wording.span(after):
        return ""
    how = "thumb" if best["method"] == "thumb" else "gauge"
    return f"A check by {how} narrows the date by some {wording.span(now - after)}."


def moved_words(before: pd.Timestamp, after: pd.Timestamp | None, today: pd.Timestamp) -> str:
    """Say how one wear moved the send-by date; empty where it did not.

    Examples
    --------
    >>> moved_words(*map(pd.Timestamp, ("2027-03-21", "2027-03-01", "2027-01-10")))
    'This wear moved send-by from 21 March to 1 March: one wear is about 3 weeks at your pace.'
    """
    if after is None or pd.isna(after) or pd.isna(before) or before == after:
        return ""
    days = (before - after).days
    old, new = list_date(before, today), list_date(after, today)
    if old == new:
        old, new = wording.long_date(before), wording.long_date(after)
    said = f"This wear moved send-by from {old} to {new}"
    if days < 0:
        return f"{said}."
    return f"{said}: one wear is about {wording.span(days)} at your pace."
