"""Shop draw: how is one shop drawn, with customers, lives of pairs, books and hidden truth?"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from solespan.synthetic_data.pairs import draw_pairs, draw_wearers
from solespan.synthetic_data.shop.books import Kept, books, kept_soles, taken
from solespan.synthetic_data.shop.counter import draw_counter, draw_looks, read
from solespan.synthetic_data.shop.customers import (
    BEFORE_JOINING_DAYS,
    CustomerTruth,
    draw_customers,
)
from solespan.synthetic_data.shop.hidden import hidden_of_shop
from solespan.synthetic_data.shop.lives import PairLife, Shop, live_pair
from solespan.synthetic_data.sim_calendar import Calendar
from solespan.synthetic_data.simulate import Simulated
from solespan.synthetic_data.truth import Truth

__all__ = ["ShopWorld", "draw_shop_world"]

HORIZON_DAYS = 1826
STATED_TOO_OLD_DAYS = 2000  # room for a stated age that is too great
DRAWN_PER_KEPT = 4  # pairs drawn for each that the shop comes to know


@dataclass(frozen=True)
class ShopWorld(Simulated):
    """A shop's books up to `as_of`, and the truth that no forecaster may see.

    Beside the frames of `Simulated` (the ball only, where customers are silent):

    hidden_pairs : DataFrame
        One row a pair: wearer_id, logs (bool), known_on, gone (bool), gone_on, gone_why (`moved`,
        `given_away`, `elsewhere`), in_use, pace_per_week (wear days, today), mean_pace_per_week
        (without season and drift), thickness_left_mm, thickness_right_mm (today),
        next_hand_over_on, hand_overs_365d (of the year after `as_of`).
    hidden_soles : DataFrame
        One row a sole in the books: fitted_on (truly), of_shop, due_on (worn on without repair),
        handed_over_on (also after `as_of`).
    hidden_hand_overs : DataFrame
        pair_id, received_on: every hand-over of a known pair, also after `as_of`.

    The true due day of the sole of a pair that is gone is the day as if worn on.
    """

    habits: CustomerTruth
    hidden_pairs: pd.DataFrame
    hidden_soles: pd.DataFrame
    hidden_hand_overs: pd.DataFrame


def draw_shop_world(
    truth: Truth,
    habits: CustomerTruth,
    rng: np.random.Generator,
    *,
    n_pairs: int,
    years: float,
    as_of: str | pd.Timestamp = "2026-11-23",
) -> ShopWorld:
    """Draw one shop that opened `years` years before `as_of` and knows `n_pairs` pairs by then.

    Raises
    ------
    ValueError
        No pair is asked for, or the shop opened less than half a year ago.
    """
    if n_pairs < 1 or years < 0.5:
        raise ValueError(f"n_pairs {n_pairs}, years {years}: accepted are at least 1 and 0.5")
    people, living, telling, looking, writing = rng.spawn(5)
    end = pd.Timestamp(as_of).normalize()
    opened = BEFORE_JOINING_DAYS + STATED_TOO_OLD_DAYS
    log_end = opened + round(years * 365.25)
    last_day = log_end + HORIZON_DAYS
    calendar = Calendar(end - pd.Timedelta(days=log_end), log_end)
    truth = replace(truth, pair_counts=habits.pair_counts)
    drawn = n_pairs * DRAWN_PER_KEPT
    wearers = draw_wearers(truth, people, n_pairs=drawn, history_days=log_end)
    pairs = draw_pairs(truth, wearers, people, history_days=log_end)
    customers, pairs = draw_customers(
        habits, wearers, pairs, people, opened_day=opened, log_end=log_end
    )
    shop = Shop.of(truth, habits, wearers, pairs, customers, calendar, last_day)
    lives: list[PairLife] = []
    known: list[int] = []
    for pair, chance in enumerate(living.spawn(drawn)):
        life = live_pair(shop, pair, chance)
        if life.known_day <= log_end and life.known_day < life.gone_day:
            lives.append(life)
            known.append(pair)
        if len(known) == n_pairs:
            break
    owners, place = np.unique(pairs.wearer[known], return_inverse=True)
    wearers = taken(wearers, owners)
    pairs = replace(taken(pairs, np.array(known)), wearer=place)
    customers = replace(
        customers,
        **{
            n: getattr(customers, n)[owners]
            for n in ("joined_day", "threshold_mm", "delay_days", "moved_day")
        },
        **{
            n: getattr(customers, n)[known]
            for n in ("log_pace", "sold", "stated", "given_after_days")
        },
    )
    kept: list[Kept] = []
    for pair, life in enumerate(lives):
        kept += kept_soles(habits, pair, life, bool(customers.stated[pair]), telling)
    counter, looks = draw_counter(truth, looking), []
    for i, k in enumerate(kept):
        last = min(log_end, lives[k.pair].gone_day)
        found = draw_looks(habits, i, k.life, last, looking)
        looks += [look for look in found if look.day >= lives[k.pair].known_day]
    pair_ids = np.array([f"P{k.pair + 1:04d}" for k in kept], dtype=object)
    checks = read(
        truth, wearers, counter, [k.life for k in kept], pair_ids, looks, calendar, looking
    )
    known_day = np.array([life.known_day for life in lives])
    frames = books(wearers, pairs, known_day, lives, kept, checks, calendar, writing)
    hidden = hidden_of_shop(truth, wearers, pairs, customers, lives, kept, calendar, last_day)
    return ShopWorld(
        truth=truth, as_of=end, horizon_days=HORIZON_DAYS, frames=frames, habits=habits, **hidden
    )
