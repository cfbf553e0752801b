"""Notice decision: which pairs are written about today, which not, and why?

One pure function for preview, dry run and real run. A window is one stretch of a sole's life in
which it is due. A new one begins when something new was seen of the sole, such as a thumb check.
The day told last must have moved far away as well. A day that moves only because the sole lasts
begins nothing. Each window has a first notice, perhaps a second, then silence.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from solespan.api.schemas.notices.notices import NoticeRules
from solespan.forecast.frames import PROBABLY_GONE

__all__ = [
    "BARRED",
    "CUSTOMER_COLUMNS",
    "FOOT",
    "PAIR_COLUMNS",
    "REASONS",
    "decide",
    "reason_words",
]

FOOT = "pair"  # both shoes go to the bench together, so a notice is about both
WINDOW_DAYS = 84  # a day told that moves by more, on new evidence, begins a new window
STALE_DAYS = 14  # forecasts this old are not written about
PAIR_COLUMNS = (
    "pair_id",
    "wearer_id",
    "sole_id",
    "as_of",
    "band",
    "send_by",
    "book_by",
    "chance",
    "chance_in_use",
    "ask_on",
    "busy",
    "told_sole_id",
    "told_window",
    "told_sequence",
    "told_day",
    "told_on",
    "evidence_on",
    "answer",
    "waiting",
    "lost_sole_id",
    "lost_window",
    "known",
    "old_on",
    "ten_on",
)
CUSTOMER_COLUMNS = ("wearer_id", "today", "channel", "barred", "heard_on")

REASONS: dict[str, str] = {
    "due": "due for a notice, counted to {day}",
    "second": "due for a second notice, counted to {day}",
    "along": "comes along with another pair",
    "no forecast": "there is no forecast",
    "retired": "its last sole was taken off",
    "at the bench": "it is at a bench",
    "booked": "it is booked in already",
    "gone": "it is probably no longer in use",
    "answered": "the customer wants no notice about this sole",
    "waiting": "the last notice about it has not gone out yet",
    "stale": "its forecast is of {day}",
    "beyond": "no day within the forecast's horizon",
    "unknown": "nothing is known of this pair but its sole",
    "young": "its sole is younger than the shortest believable life, until {day}",
    "not asked": "it is not due yet",
    "early": "its time comes on {day}",
    "silent": "all notices about this sole were sent",
    "second later": "a second notice may go from {day}",
    "no consent": "no consent for any channel of this shop",
    "no address": "consent, but no address",
    "not an address": "there is a consent, but no usable address",
    "stopped": "the address takes no notices",
    "too soon": "the customer was written to; next from {day}",
}
_NOTICE = ("due", "second")
BARRED = ("no consent", "no address", "not an address", "stopped")


def decide(pairs: pd.DataFrame, customers: pd.DataFrame, rules: NoticeRules) -> pd.DataFrame:
    """Decide about every pair.

    Parameters
    ----------
    pairs : DataFrame
        `PAIR_COLUMNS`, one row a pair: the pair's forecast at the ball (`chance` within
        `rules.chance_days`; missing band = no forecast) and `chance_in_use`. `ask_on` is the
        hand-over day of a bench plan, `busy` is None, `booked` or `at the bench`. Of the last
        notice about it that was not lost: sole, window, sequence, the day counted to, the
        customer's date and the answer to it. `waiting` says that it is still to go out.
        `evidence_on` is the last day on which the sole was looked at or worn, as far as is known.
        Where a later notice was lost (not delivered, or stopped before it went out): its sole and
        window. `known`, `old_on`, `ten_on` are as in `AskingRules`; missing = not judged.
    customers : DataFrame
        `CUSTOMER_COLUMNS`, one row a customer: `today` where they live, the `channel` they can be
        written to by, and the date of the last notice to them. `barred` says why they cannot be
        written to (one of `BARRED`).
    rules : NoticeRules

    Returns
    -------
    DataFrame
        One row a pair, in the order given: `pair_id`, `wearer_id`, `verdict` (`notice`, `along`,
        `no`), `why` (a key of `REASONS`), `why_day`, `day` (the day counted to), `window`,
        `sequence`, `channel`.
    """
    whose = customers.set_index("wearer_id")
    owner = whose.reindex(pairs["wearer_id"])
    today = _days(owner["today"])
    told = _told(pairs)
    day = _day_counted_to(pairs, rules)
    notify = day - np.timedelta64(7 * rules.weeks_ahead, "D")
    stopped = (pairs["band"] == "stop wearing").to_numpy()
    notify = np.where(stopped & ~np.isnat(day), np.minimum(notify, today), notify)
    same = _same_window(pairs, day)
    window = np.where(told["any"], told["window"] + ~same, 1)
    # what nobody heard does not count, but its place in the window is taken
    lost = (pairs["lost_sole_id"] == pairs["sole_id"]).to_numpy()
    window = np.where(lost, pairs["lost_window"].fillna(0).to_numpy(int) + 1, window)
    sequence = np.where(told["any"] & same, told["sequence"] + 1, 1)
    second_on = told["on"] + np.timedelta64(7 * rules.second_after_weeks, "D")
    heard_on = _days(owner["heard_on"])
    next_on = heard_on + np.timedelta64(7 * rules.weeks_between, "D")
    band, as_of = pairs["band"], _days(pairs["as_of"])
    chance = pairs["chance"].to_numpy(float)
    likely = np.nan_to_num(chance) >= (rules.chance_at_least or np.inf)
    asked = band.isin(rules.bands).to_numpy() | likely
    barred = owner["barred"].fillna("").to_numpy(str)
    of_pair = {
        "no forecast": band.isna().to_numpy(),
        "retired": (band == "retired").to_numpy(),
        "at the bench": (band == "away").to_numpy() | _is(pairs["busy"], "at the bench"),
        "booked": _is(pairs["busy"], "booked"),
        "gone": pairs["chance_in_use"].to_numpy(float) < PROBABLY_GONE,
        "answered": told["any"] & pairs["answer"].isin(["declined", "elsewhere"]).to_numpy(),
        "waiting": (pairs["waiting"] == True).to_numpy(),  # noqa: E712 - None where never told
        "stale": as_of < today - np.timedelta64(STALE_DAYS, "D"),
        "beyond": np.isnat(day),
        "unknown": (pairs["known"] == False).to_numpy(),  # noqa: E712 - None = not judged
        "young": _days(pairs["old_on"]) > today,
        "not asked": ~asked,
        "silent": sequence > (2 if rules.second_after_weeks else 1),
        "early": notify > today,
        "second later": (sequence == 2) & (second_on > today),
    }
    of_customer = {name: barred == name for name in BARRED}
    of_customer["too soon"] = next_on > today
    conditions = {**of_pair, **of_customer}
    first = np.where(sequence == 2, "second", "due")
    why = np.select(list(conditions.values()), list(conditions), default=first).astype(object)
    along = _along(pairs["wearer_id"], why, notify, sequence, today, rules)
    along &= ~np.logical_or.reduce([*of_customer.values()])
    why[along] = "along"
    written = np.isin(why.astype(str), (*_NOTICE, "along"))
    why_day = np.select(
        [
            why == "stale",
            why == "early",
            why == "young",
            why == "second later",
            why == "too soon",
            np.isin(why.astype(str), _NOTICE),
        ],
        [as_of, notify, _days(pairs["old_on"]), second_on, next_on, day],
        default=np.datetime64("NaT", "D"),
    )
    verdict = np.select([along, written], ["along", "notice"], default="no")
    return pd.DataFrame(
        {
            "pair_id": pairs["pair_id"].to_numpy(),
            "wearer_id": pairs["wearer_id"].to_numpy(),
            "verdict": verdict,
            "why": why,
            "why_day": why_day.astype("datetime64[s]"),
            "day": day.astype("datetime64[s]"),
            "window": window.astype(int),
            "sequence": sequence.astype(int),
            "channel": owner["channel"].to_numpy(object),
        }
    )


def reason_words(why: str, why_day: pd.Timestamp | None) -> str:
    """Say a reason in words, with its day where it has one."""
    said = "" if why_day is None or pd.isna(why_day) else f"{why_day:%Y-%m-%d}"
    return REASONS[why].format(day=said)


def _days(column: pd.Series) -> np.ndarray:
    return np.asarray(pd.to_datetime(column).to_numpy(), dtype="datetime64[D]")


def _is(column: pd.Series, word: str) -> np.ndarray:
    return np.asarray((column == word).to_numpy(), dtype=bool)


def _day_counted_to(pairs: pd.DataFrame, rules: NoticeRules) -> np.ndarray:
    """Give the day the rules count back from.

    A levelled plan may bring it forward, but not before the 10 % day, and never back.
    """
    day = _days(pairs[rules.ahead_of])
    if not rules.levelled:
        return day
    asked, ten = _days(pairs["ask_on"]), _days(pairs["ten_on"])
    asked = np.where(asked < ten, ten, asked)
    earlier = asked - _days(pairs["send_by"])
    shift = np.where(np.isnat(earlier), np.timedelta64(0, "D"), earlier)
    return np.asarray(day + np.minimum(shift, np.timedelta64(0, "D")), dtype="datetime64[D]")


def _told(pairs: pd.DataFrame) -> dict[str, np.ndarray]:
    number = {
        name: pairs[f"told_{name}"].fillna(0).to_numpy(int) for name in ("window", "sequence")
    }
    same_sole = (pairs["told_sole_id"] == pairs["sole_id"]).to_numpy()
    return {**number, "any": same_sole & (number["sequence"] > 0), "on": _days(pairs["told_on"])}


def _same_window(pairs: pd.DataFrame, day: np.ndarray) -> np.ndarray:
    """Whether the last notice belongs to the window the pair is in now."""
    same_sole = (pairs["told_sole_id"] == pairs["sole_id"]).to_numpy()
    told_day = _days(pairs["told_day"])
    moved = day - told_day > np.timedelta64(WINDOW_DAYS, "D")
    moved &= _days(pairs["evidence_on"]) > _days(pairs["told_on"])
    return np.asarray(same_sole & ~np.isnat(told_day) & ~moved, dtype=bool)


def _along(
    wearers: pd.Series,
    why: np.ndarray,
    notify: np.ndarray,
    sequence: np.ndarray,
    today: np.ndarray,
    rules: NoticeRules,
) -> np.ndarray:
    """Which pairs that are only early go with one of the same customer that is due."""
    written_to = pd.Index(wearers[np.isin(why.astype(str), _NOTICE)].unique())
    soon = notify <= today + np.timedelta64(7 * rules.gather_weeks, "D")
    early = (why == "early") & (sequence == 1) & soon
    return np.asarray(early & wearers.isin(written_to).to_numpy(), dtype=bool)
