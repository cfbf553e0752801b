"""Counter readings: when does the shop read a sole, and what does the reading say?

Some soles are read on the day they come off, some once in between (when a heel is done). The shop
has one gauge with one bias, and one thumb.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from solespan.forecast.frames import FEET, GRADES, METHODS
from solespan.synthetic_data.logbook import table, words
from solespan.synthetic_data.measuring import press_thumb, read_gauge
from solespan.synthetic_data.pairs import Floats, Wearers
from solespan.synthetic_data.shop.customers import NEVER, CustomerTruth
from solespan.synthetic_data.shop.lives import SoleLife
from solespan.synthetic_data.sim_calendar import Calendar
from solespan.synthetic_data.truth import Truth

__all__ = ["Counter", "Look", "ball_on", "draw_counter", "draw_looks", "read"]

GAUGE_NUMBERS = (0, 1)  # caliper, depth gauge


@dataclass(frozen=True)
class Look:
    """One sole looked at on one day; `life` counts within the kept soles."""

    life: int
    day: int
    with_thumb: bool


@dataclass(frozen=True)
class Counter:
    """The shop's gauge and thumb."""

    gauge: int
    bias_mm: float
    thumb_shift_mm: float


def draw_counter(truth: Truth, rng: np.random.Generator) -> Counter:
    """A gauge that errs by itself, and a thumb of its own."""
    return Counter(
        gauge=int(rng.choice(GAUGE_NUMBERS)),
        bias_mm=float(rng.normal(0.0, truth.sd_gauge_bias_mm)),
        thumb_shift_mm=float(rng.normal(0.0, truth.sd_thumb_shift_mm)),
    )


def draw_looks(
    habits: CustomerTruth, life: int, of: SoleLife, last_day: int, rng: np.random.Generator
) -> list[Look]:
    """The days on which one sole is read; `last_day` is the last on which it is still seen.

    A day in between is drawn over the whole life that the sole would have. So a reading does not
    tell how long the sole lasts.
    """
    off, between, thumb = rng.random(3) < (
        habits.counter_reading_share,
        habits.midlife_reading_share,
        habits.counter_thumb_share,
    )
    end = min(of.handed_day, int(of.day[-1]) if len(of.day) else of.sole.fitted_day)
    at = of.sole.fitted_day + 1 + int(rng.random() * max(end - of.sole.fitted_day - 1, 1))
    looks = []
    if between and at < min(of.handed_day, last_day):
        looks.append(Look(life, at, bool(thumb)))
    if off and of.handed_day <= last_day and of.handed_day < NEVER:
        looks.append(Look(life, of.handed_day, bool(thumb)))
    return looks


def ball_on(of: SoleLife, day: int) -> Floats:
    """True mm of both feet on the evening of a day."""
    at = int(np.searchsorted(of.day, day, side="right")) - 1
    return of.sole.start_mm[:, 0] if at < 0 else of.thickness[at]


def read(
    truth: Truth,
    wearers: Wearers,
    counter: Counter,
    lives: list[SoleLife],
    pair_ids: np.ndarray,
    looks: list[Look],
    calendar: Calendar,
    rng: np.random.Generator,
) -> pd.DataFrame:
    """The table `checks` of these looks: both feet at the ball."""
    n = len(wearers)
    shop = replace(
        wearers,
        gauge=np.full(n, counter.gauge),
        gauge_bias_mm=np.full(n, counter.bias_mm),
        thumb_shift_mm=np.full(n, counter.thumb_shift_mm),
    )
    seen = [look for look in looks for _ in FEET]
    true_mm = np.array([ball_on(lives[k.life], k.day) for k in looks]).reshape(-1)
    owner = np.zeros(len(seen), int)
    value, _, _, method = read_gauge(truth, shop, owner, true_mm, rng)
    _, grade, _, thumb = press_thumb(truth, shop, owner, true_mm, rng)
    pressed = np.array([k.with_thumb for k in seen], bool)
    pair = np.array([pair_ids[k.life] for k in seen], dtype=object)
    day = np.array([k.day for k in seen], int)
    foot = np.tile(np.arange(2), len(looks))
    both = np.r_[np.arange(len(seen)), np.flatnonzero(pressed)]
    gauged = np.arange(len(both)) < len(seen)
    return table(
        "checks",
        {
            "pair_id": pair[both],
            "checked_on": calendar.dates(day[both]),
            "foot": words(FEET, foot[both]),
            "point": np.full(len(both), "ball", dtype=object),
            "method": words(METHODS, np.where(gauged, method[both], thumb[both])),
            "value_mm": np.where(gauged, value[both], np.nan),
            "grade": words(GRADES, np.where(gauged, -1, grade[both])),
        },
    )
