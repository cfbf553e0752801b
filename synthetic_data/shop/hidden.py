"""Hidden truth: what is true of a shop's pairs that no forecaster may see?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from solespan.forecast.frames import FEET
from solespan.synthetic_data.logbook import ids, sole_ids
from solespan.synthetic_data.pairs import Ints, Pairs, Wearers
from solespan.synthetic_data.shop.books import Kept
from solespan.synthetic_data.shop.counter import ball_on
from solespan.synthetic_data.shop.customers import NEVER, Customers
from solespan.synthetic_data.shop.lives import PairLife
from solespan.synthetic_data.sim_calendar import Calendar
from solespan.synthetic_data.truth import Truth
from solespan.synthetic_data.wear_process import driving_mask
from solespan.synthetic_data.wearing import DRIVES_SHARE

__all__ = ["hidden_of_shop"]

YEAR_DAYS = 365


def hidden_of_shop(
    truth: Truth,
    wearers: Wearers,
    pairs: Pairs,
    customers: Customers,
    lives: list[PairLife],
    kept: list[Kept],
    calendar: Calendar,
    last_day: int,
) -> dict[str, pd.DataFrame]:
    """The hidden frames of `ShopWorld`, by name."""
    end = calendar.log_end
    fitted = [k for k in kept if k.life.sole.fitted_day <= end]
    names = sole_ids([k.written for k in fitted])
    return {
        "hidden_wear": _wear(fitted, names, calendar),
        "hidden_thickness": _thickness(fitted, names, calendar),
        "hidden_due": _due(fitted, names, calendar, last_day),
        "rates": _rates(truth, wearers, pairs, fitted, names),
        "hidden_wearers": _wearers(wearers, customers),
        "hidden_checks": pd.DataFrame({"pair_id": [], "true_mm": []}),
        "hidden_pairs": _pairs(pairs, customers, lives, fitted, calendar),
        "hidden_soles": _soles(fitted, names, calendar, last_day),
        "hidden_hand_overs": _hand_overs(lives, calendar, last_day),
    }


def _dates(calendar: Calendar, day: Ints, last_day: int = NEVER - 1) -> pd.Series:
    day = np.asarray(day, int)
    return calendar.dates(np.where(day <= last_day, day, -1))


def _pair_id(kept: list[Kept]) -> np.ndarray:
    return np.array([f"P{k.pair + 1:04d}" for k in kept], dtype=object)


def _wear(kept: list[Kept], names: np.ndarray, calendar: Calendar) -> pd.DataFrame:
    """Every wear day of a sole until its removal; one still on is worn on to the hole."""
    day = [k.life.day[k.life.day < k.life.handed_day] for k in kept]
    long = [len(d) for d in day]
    exposure = [k.life.exposure[: len(d)] for k, d in zip(kept, day, strict=True)]
    return pd.DataFrame(
        {
            "pair_id": np.repeat(_pair_id(kept), long),
            "sole_id": np.repeat(names, long),
            "worn_on": calendar.dates(np.concatenate(day)),
            "exposure_wear_days": np.concatenate(exposure),
            "logged": False,
        }
    )


def _thickness(kept: list[Kept], names: np.ndarray, calendar: Calendar) -> pd.DataFrame:
    """The ball in long form: when fitted, and on the evening of each wear day until removal."""
    parts = []
    for name, pair_id, k in zip(names, _pair_id(kept), kept, strict=True):
        worn = k.life.day < k.life.handed_day
        day = np.r_[k.life.sole.fitted_day, k.life.day[worn]]
        mm = np.vstack([k.life.sole.start_mm[:, 0], k.life.thickness[worn]])
        for place, foot in enumerate(FEET):
            parts.append((pair_id, name, foot, day, mm[:, place]))
    long = [len(p[3]) for p in parts]

    def wide(place: int) -> np.ndarray:
        return np.repeat(np.array([p[place] for p in parts], dtype=object), long)

    return pd.DataFrame(
        {
            "pair_id": wide(0),
            "sole_id": wide(1),
            "foot": wide(2),
            "point": "ball",
            "on_date": calendar.dates(np.concatenate([p[3] for p in parts])),
            "thickness_mm": np.concatenate([p[4] for p in parts]),
        }
    )


def _due(kept: list[Kept], names: np.ndarray, calendar: Calendar, last_day: int) -> pd.DataFrame:
    on = [k.life.handed_day > calendar.log_end for k in kept]
    rows = []
    for name, k in zip(
        names[on], [k for k, is_on in zip(kept, on, strict=True) if is_on], strict=True
    ):
        days = [int(d) for d in k.life.due_day]
        for foot, day in zip((*FEET, "pair"), (*days, min(days)), strict=True):
            rows.append((f"P{k.pair + 1:04d}", name, foot, "ball", k.life.sole.limit_mm, day))
    frame = pd.DataFrame(rows, columns=["pair_id", "sole_id", "foot", "point", "limit_mm", "day"])
    frame["due_on"] = _dates(calendar, frame.pop("day").to_numpy(int), last_day)
    return frame


def _rates(
    truth: Truth, wearers: Wearers, pairs: Pairs, kept: list[Kept], names: np.ndarray
) -> pd.DataFrame:
    """Mean wear at the ball per standard wear day, at the wearer's usual driving."""
    hours_driven = wearers.driving_minutes[pairs.wearer] * DRIVES_SHARE / 60.0
    extra = 1.0 + truth.driving_per_hour * driving_mask(wearers, pairs) * hours_driven[:, None]
    rate = np.array([np.exp(k.life.log_rate) * extra[k.pair] for k in kept]).reshape(-1, 2)
    return pd.DataFrame(
        {
            "pair_id": np.repeat(_pair_id(kept), 2),
            "sole_id": np.repeat(names, 2),
            "foot": np.tile(np.array(FEET, dtype=object), len(kept)),
            "point": "ball",
            "rate_mm_per_wear_day": rate.ravel(),
            "rate_mm_per_logged_wear_day": np.nan,
        }
    )


def _wearers(wearers: Wearers, customers: Customers) -> pd.DataFrame:
    n = len(wearers)
    return pd.DataFrame(
        {
            "wearer_id": ids("W", n),
            "kind": np.full(n, "silent", dtype=object),
            "effect_log": wearers.effect,
            "asymmetry_log": wearers.asymmetry,
            "forgotten_share": 1.0,
            "threshold_mm": customers.threshold_mm,
            "mean_delay_days": customers.delay_days,
        }
    )


def _pairs(
    pairs: Pairs,
    customers: Customers,
    lives: list[PairLife],
    kept: list[Kept],
    calendar: Calendar,
) -> pd.DataFrame:
    end = calendar.log_end
    n = len(pairs)
    gone = np.array([life.gone_day for life in lives])
    why = np.array([life.gone_why for life in lives], dtype=object)
    is_gone = gone <= end
    in_use = ~(is_gone & (why == "given_away"))
    chance = np.array([life.chance[end - pairs.first_day[i] - 1] for i, life in enumerate(lives)])
    handed: list[list[int]] = [
        [one.handed_day for one in life.lives if end < one.handed_day < NEVER] for life in lives
    ]
    today = np.full((n, 2), np.nan)
    for k in kept:
        if k.life.handed_day > end:
            today[k.pair] = ball_on(k.life, end)
    return pd.DataFrame(
        {
            "pair_id": ids("P", n),
            "wearer_id": ids("W", int(pairs.wearer.max()) + 1)[pairs.wearer],
            "logs": False,
            "known_on": _dates(calendar, np.array([life.known_day for life in lives])),
            "gone": is_gone,
            "gone_on": _dates(calendar, np.where(is_gone, gone, NEVER)),
            "gone_why": np.where(is_gone, why, np.array(None, dtype=object)),
            "in_use": in_use,
            "pace_per_week": np.where(in_use, 7.0 * chance, 0.0),
            "mean_pace_per_week": np.exp(customers.log_pace),
            "thickness_left_mm": today[:, 0],
            "thickness_right_mm": today[:, 1],
            "next_hand_over_on": _dates(
                calendar, np.array([min(h, default=NEVER) for h in handed])
            ),
            "hand_overs_365d": [sum(d <= end + YEAR_DAYS for d in h) for h in handed],
        }
    )


def _soles(kept: list[Kept], names: np.ndarray, calendar: Calendar, last_day: int) -> pd.DataFrame:
    """Every sole in the books: due as if worn on, and handed over, also after the log's end."""
    due: Ints = np.array([k.life.due_day.min() for k in kept]).astype(int)
    return pd.DataFrame(
        {
            "pair_id": _pair_id(kept),
            "sole_id": names,
            "fitted_on": _dates(calendar, np.array([k.life.sole.fitted_day for k in kept])),
            "of_shop": [k.of_shop for k in kept],
            "due_on": _dates(calendar, due, last_day),
            "handed_over_on": _dates(calendar, np.array([k.life.handed_day for k in kept])),
        }
    )


def _hand_overs(lives: list[PairLife], calendar: Calendar, last_day: int) -> pd.DataFrame:
    """All hand-overs of known pairs, past and to come."""
    rows = [
        (f"P{pair + 1:04d}", one.handed_day)
        for pair, life in enumerate(lives)
        for one in life.lives
        if life.known_day <= one.handed_day < NEVER
    ]
    frame = pd.DataFrame(rows, columns=["pair_id", "day"])
    frame["received_on"] = _dates(calendar, frame.pop("day").to_numpy(int), last_day)
    return frame
