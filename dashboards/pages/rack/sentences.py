"""Sentences page.

What does the pair page say first: when, how sure, which foot, and what to do by when?
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from solespan.dashboards import wording
from solespan.forecast.frames import PROBABLY_GONE

__all__ = ["is_gone", "pair_sentences"]


def pair_sentences(
    pair: dict[str, Any] | None,
    feet: dict[str, dict[str, Any]],
    limit_mm: float | None,
    *,
    today: pd.Timestamp,
    risk: float,
    horizon_days: int,
    has_sole: bool = False,
) -> list[str]:
    """Say the forecast of one pair in sentences, most important first.

    `pair` and `feet` are rows of `frames.FORECAST` at the ball; None and empty where there is no
    forecast yet. `risk` is the chance of being past the limit that the send-by date allows.
    `has_sole` tells a pair whose forecast is being computed from one without a sole.
    """
    if pair is None and has_sole:
        return ["The forecast of this pair is being computed. Load this page again in a minute."]
    if pair is None:
        return ["There is no forecast for this pair yet: it needs a sole with a thickness."]
    if pair["band"] == "away":
        return ["This pair is away at a shop. The forecast goes on when it is back."]
    if pair["band"] == "retired":
        return ["This pair is retired: its last sole was taken off."]
    out = [_when(pair, today, horizon_days)]
    if is_gone(pair):
        out = [_gone(pair), f"If it is still worn: {_lower(out[0])}"]
    else:
        if pair["band"] == "stop wearing":
            out.insert(0, "Stop wearing this pair: it is likely at its limit, or a hole was seen.")
        out += _by_when(pair, today, risk, horizon_days)
        out.append(_chances(pair))
        out.append(_feet(pair, feet, limit_mm))
    if isinstance(pair["reason"], str) and pair["reason"].strip():
        reason = pair["reason"].strip().rstrip(".")
        out.append(f"{reason[0].upper()}{reason[1:]}.")
    return [wording.unbroken(sentence) for sentence in out if sentence]


def is_gone(pair: Mapping[str, Any]) -> bool:
    """Whether a forecast row tells of a pair that is probably no longer in use."""
    return bool(pd.notna(pair["chance_in_use"]) and pair["chance_in_use"] < PROBABLY_GONE)


def _gone(pair: dict[str, Any]) -> str:
    chance = wording.chance(pair["chance_in_use"])
    return (
        "This pair is probably no longer in use: nothing was heard of it for long. The chance that "
        f"it is still worn, and its owner still a customer, is {chance}."
    )


def _lower(sentence: str) -> str:
    return f"{sentence[0].lower()}{sentence[1:]}"


def _when(pair: dict[str, Any], today: pd.Timestamp, horizon_days: int) -> str:
    due = wording.due_sentence(
        pair["due_p10"], pair["due_p90"], today=today, horizon_days=horizon_days
    )
    sentence = f"New sole due {due}" if due != "at its limit already" else f"This pair is {due}"
    median = pair["due_p50"]
    if pd.isna(median) or median <= today:
        return f"{sentence}."
    soon = wording.about_days((median - today).days)
    return f"{sentence}; middle estimate {wording.around(median)}, {soon}."


def _by_when(
    pair: dict[str, Any], today: pd.Timestamp, risk: float, horizon_days: int
) -> list[str]:
    send_by, book_by = pair["send_by"], pair["book_by"]
    if pd.isna(send_by):
        return [f"The day to hand it over lies {wording.beyond(horizon_days)}."]
    odds = f"{risk:.0%}".replace("%", " %")
    if send_by <= today:
        return [f"Send it now: the chance that it is past its limit has reached {odds}."]
    day = wording.long_date(send_by)
    out = [f"Send it by {day}: the chance that it is past its limit is then {odds}."]
    if pd.notna(book_by):
        when = "now" if book_by <= today else f"by {wording.long_date(book_by)}"
        out.append(f"Book a place on the bench {when}.")
    return out


def _chances(pair: dict[str, Any]) -> str:
    soon, later = pair["chance_90d"], pair["chance_180d"]
    if pd.isna(soon) or pd.isna(later):
        return ""
    return (
        f"The chance that it is at its limit within 90 days is {wording.chance(soon)}, "
        f"within 180 days {wording.chance(later)}."
    )


def _feet(pair: dict[str, Any], feet: dict[str, dict[str, Any]], limit_mm: float | None) -> str:
    words = wording.first_foot(pair["first_foot"])
    sentence = f"{words[0].upper()}{words[1:]}."
    parts = [
        f"the {foot} sole is about {wording.millimetres(row['thickness_mm_p50'])}"
        for foot, row in feet.items()
        if pd.notna(row["thickness_mm_p50"])
    ]
    if not parts:
        return sentence
    limit = "" if limit_mm is None else f"; the limit is {wording.millimetres(limit_mm)}"
    return f"{sentence} At the ball {wording.joined(parts)} thick{limit}."
