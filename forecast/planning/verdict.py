"""Verdict on a pair.

What is to be done with a pair: wear on, watch, send, rewelt or retire?

One account serves the list, the pair page, the plan, the routes and the cost. `next_sole` says what
becomes of the pair when this sole is at its end. `decide_verdict` says what is to be done today.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

__all__ = [
    "LOOK",
    "NEXT_SOLES",
    "URGENT",
    "VERDICTS",
    "NextSole",
    "Verdict",
    "decide_verdict",
    "next_sole",
    "state_of",
]

NEXT_SOLES = ("resole", "rewelt", "retire")
LOOK = "look"
VERDICTS = ("wear on", "watch", LOOK, "send", "rewelt", "retire", "away", "retired", "not known")
LOOK_SPREAD_DAYS = 180  # a date that is known no better is not worth a journey without a look
LOOK_SPREAD_WEARS = 4.0  # of the highest count of wears left over the lowest, likewise
URGENT = ("book in", "stop wearing")
_OF_NEXT = {"resole": "send", "rewelt": "rewelt", "retire": "retire"}
_SAYS = {
    "wear on": "Wear on.",
    "watch": "Watch it: look at the sole before you wear it.",
    LOOK: "Look at the sole now, and press it with a thumb. Send it if it gives.",
    "send": "Send it for a new sole.",
    "rewelt": "Send it for a new sole and a new welt.",
    "retire": "Retire it.",
    "away": "It is at the bench.",
    "retired": "It is retired.",
    "not known": "There is no forecast of it yet.",
}


@dataclass(frozen=True)
class NextSole:
    """What becomes of a pair at the end of its sole: a word of `NEXT_SOLES`, and why.

    price_minor : of the work that was weighed, a new welt included.
    shared_minor : the same, with the welt's price shared among the soles that it allows.
    """

    word: str
    price_minor: int
    shared_minor: float
    reason: str


@dataclass(frozen=True)
class Verdict:
    """What is to be done with a pair today, a word of `VERDICTS`, and after this sole.

    sentence : for a person, the reason included.
    """

    word: str
    next_sole: NextSole
    sentence: str


def next_sole(
    *,
    resoles_left: int,
    rewelt_due: bool,
    sole_price_minor: int,
    rewelt_price_minor: int | None,
    resoles_per_rewelt: int,
    new_price_minor: float | None,
) -> NextSole:
    """Say what becomes of a pair at the end of its sole.

    Parameters
    ----------
    resoles_left : int
        Resoles that welt and upper still allow.
    rewelt_due : bool
        The work needs a new welt even so.
    rewelt_price_minor : int or None
        Added for a new welt; None = the pair cannot get one.
    resoles_per_rewelt : int
        Resoles that a new welt brings; its price is shared among them.
    new_price_minor : float or None
        What a new pair like it costs, in the same currency; None = not known.

    Examples
    --------
    >>> args = {"resoles_left": 2, "rewelt_due": False, "sole_price_minor": 15_000}
    >>> more = {"rewelt_price_minor": 7_000, "resoles_per_rewelt": 2, "new_price_minor": 40_000}
    >>> next_sole(**args, **more).word
    'resole'
    >>> next_sole(**args, **(more | {"new_price_minor": 9_000})).word
    'retire'
    """
    welt = rewelt_due or not resoles_left
    extra = (rewelt_price_minor or 0) if welt else 0
    price, shared = sole_price_minor + extra, sole_price_minor + extra / max(resoles_per_rewelt, 1)
    if not resoles_left and (rewelt_price_minor is None or not resoles_per_rewelt):
        word, reason = "retire", "Welt and upper allow no more soles."
    elif new_price_minor is not None and shared > new_price_minor:
        word, reason = "retire", "A new sole costs more than a new pair."
    elif not resoles_left:
        word, reason = "rewelt", "Only a new welt allows one more sole."
    elif rewelt_due:
        word, reason = "rewelt", "The next sole needs a new welt."
    elif resoles_left == 1:
        word, reason = "resole", "One more sole is possible."
    else:
        word, reason = "resole", f"{resoles_left} more soles are possible."
    return NextSole(word, price, shared, reason)


def state_of(row: Mapping[Any, Any]) -> Any:
    """Return the band of a forecast row, or `LOOK` where only a look at the sole can tell.

    A pair to book in is looked at before it is sent where its date is uncertain by half a year. The
    wears left are then uncertain by a factor of four too; a pair worn seldom has a wide date alone.

    Parameters
    ----------
    row : mapping
        `band`, `due_p10`, `due_p90`, `wears_left_p10` and `wears_left_p90` of
        `forecast.frames.FORECAST`; without dates the band stays.

    Examples
    --------
    >>> days = [pd.Timestamp(day) for day in ("2026-11-30", "2028-03-01")]
    >>> state_of({"band": "book in", "due_p10": days[0], "due_p90": days[1]})
    'look'
    >>> state_of({"band": "watch", "due_p10": days[0], "due_p90": days[1]})
    'watch'
    """
    band = row.get("band")
    first = row.get("due_p10")
    if band != "book in" or first is None or pd.isna(first):
        return band
    last, few, many = row["due_p90"], row.get("wears_left_p10"), row.get("wears_left_p90")
    if pd.notna(last) and (last - first).days <= LOOK_SPREAD_DAYS:
        return band
    known = few is not None and many is not None and many <= LOOK_SPREAD_WEARS * few
    return band if known else LOOK


def decide_verdict(band: Any, after: NextSole) -> Verdict:
    """Say what is to be done with a pair, from its state and what its next sole is worth.

    Parameters
    ----------
    band : as `state_of` gives it, or none without a forecast.

    Examples
    --------
    >>> decide_verdict("book in", NextSole("retire", 0, 0.0, "It is worn out.")).word
    'retire'
    >>> decide_verdict("sound", NextSole("resole", 15_000, 15_000.0, "")).sentence
    'Wear on.'
    """
    if band in URGENT:
        word = _OF_NEXT[after.word]
    else:
        said = {"sound": "wear on", "watch": "watch", LOOK: LOOK}
        said |= {"away": "away", "retired": "retired"}
        word = said.get(band, "not known") if isinstance(band, str) else "not known"
    sentence = _SAYS[word]
    if word in ("rewelt", "retire"):
        sentence = f"{sentence} {after.reason}"
    elif after.word == "retire" and word in ("wear on", "watch", LOOK):
        sentence = f"{sentence} No new sole after this one. {after.reason}"
    return Verdict(word, after, sentence)
