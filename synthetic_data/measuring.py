"""Simulated checks: when does an owner look at a sole, with what, and what does it say?

Gauges err by method, by the wearer's own bias, by rounding, and now and then grossly. A thumb grade
is the true thickness plus a personal shift and noise, cut at thicknesses above the limit. `hole`
stands exactly where nothing is left. The top piece cannot be judged by thumb.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from solespan.forecast.frames import FEET, GRADES, METHODS, POINTS
from solespan.synthetic_data.pair_histories import Life
from solespan.synthetic_data.pairs import GAUGES, KINDS, Bools, Floats, Ints, Pairs, Wearers
from solespan.synthetic_data.truth import Truth

__all__ = ["Readings", "measure", "press_thumb", "read_gauge", "true_thickness"]

SHARE_LOOKED_AT = {"ball": 1.0, "toe": 0.3, "heel": 0.4, "waist": 0.25}  # per visit: invented
THUMB_POINTS = {"ball": 1.0, "toe": 0.2}
FOOT_LEFT_OUT = 0.05
NOTICE_IS_LOGGED = 0.7
ROUNDING_MM = {"caliper": 0.1, "depth_gauge": 0.05, "ultrasonic": 0.05}
POINT_NUMBER = {"ball": 0, "toe": 1, "heel": 2}


@dataclass(frozen=True)
class Readings:
    """One entry per reading; words as their place in the contract's lists; NaN or -1 where none."""

    pair: Ints
    sole: Ints
    day: Ints
    foot: Ints
    point: Ints
    method: Ints
    value_mm: Floats
    grade: Ints
    true_mm: Floats
    slip: Bools


@dataclass(frozen=True)
class _Visits:
    sole: Ints
    day: Ints
    new: Bools


def true_thickness(life: Life, sole: Ints, day: Ints) -> Floats:
    """Thickness (n, 2 feet, 3 points) on the evening of each day, the sole having been fitted."""
    span = int(max(life.day.max(initial=0), life.renewal_day.max())) + 2
    key = np.r_[life.renewal_sole * span + life.renewal_day, life.sole * span + life.day]
    order = np.argsort(key, kind="stable")
    at = np.searchsorted(key[order], sole * span + day, side="right") - 1
    return np.concatenate([life.renewal_thickness, life.thickness])[order[at]]


def measure(
    truth: Truth,
    wearers: Wearers,
    pairs: Pairs,
    life: Life,
    silent: Bools,
    rng: np.random.Generator,
) -> Readings:
    """All readings up to the log's end."""
    visits = _visits(truth, wearers, pairs, life, silent, rng)
    pair = np.array([s.pair for s in life.soles])[visits.sole]
    owner = pairs.wearer[pair]
    kind = wearers.kind[owner]
    gauges = visits.new | (kind <= KINDS.index("gauge_and_thumb"))
    thumbs = ~visits.new & (kind != KINDS.index("gauge"))
    truly = true_thickness(life, visits.sole, visits.day)
    waist = np.stack([s.start_mm[:, 0] for s in life.soles])[visits.sole]
    parts: list[Readings] = []
    for with_gauge, looked in ((True, SHARE_LOOKED_AT), (False, THUMB_POINTS)):
        able = gauges if with_gauge else thumbs
        for word, share in looked.items():
            looks = able & (visits.new | (rng.random(len(pair)) < share))
            for foot in range(2):
                kept = looks & (visits.new | (rng.random(len(pair)) >= FOOT_LEFT_OUT))
                true_mm = waist[:, foot] if word == "waist" else truly[:, foot, POINT_NUMBER[word]]
                i = np.flatnonzero(kept)
                read = read_gauge if with_gauge else press_thumb
                value, grade, slip, method = read(truth, wearers, owner[i], true_mm[i], rng)
                point = np.full(len(i), POINTS.index(word))
                parts.append(
                    Readings(
                        pair[i], visits.sole[i], visits.day[i], np.full(len(i), foot), point,
                        method, value, grade, true_mm[i], slip,
                    )
                )  # fmt: skip
    assert FEET == ("left", "right")  # noqa: S101 - the order every array here relies on
    return _joined(parts)


def _joined(parts: list[Readings]) -> Readings:
    names = Readings.__dataclass_fields__
    return Readings(**{n: np.concatenate([getattr(p, n) for p in parts]) for n in names})


def read_gauge(
    truth: Truth, wearers: Wearers, owner: Ints, true_mm: Floats, rng: np.random.Generator
) -> tuple[Floats, Ints, Bools, Ints]:
    """Read true thicknesses: value, grade (-1), whether it is a misreading, and method."""
    gauge = wearers.gauge[owner]
    sd = np.array([truth.sd_caliper_mm, truth.sd_gauge_mm, truth.sd_gauge_mm])[gauge]
    value = true_mm + wearers.gauge_bias_mm[owner] + rng.normal(0.0, 1.0, len(owner)) * sd
    slip = rng.random(len(owner)) < truth.slip_share
    value += slip * rng.choice((-1.0, 1.0), len(owner)) * rng.uniform(1.0, 4.0, len(owner))
    value[true_mm <= 0.0] = 0.0
    grain = np.array([ROUNDING_MM[g] for g in GAUGES])[gauge]
    value = np.round(np.maximum(np.round(value / grain) * grain, 0.0), 2)
    method = np.array([METHODS.index(g) for g in GAUGES])[gauge]
    return value, np.full(len(owner), -1), slip, method


def press_thumb(
    truth: Truth, wearers: Wearers, owner: Ints, true_mm: Floats, rng: np.random.Generator
) -> tuple[Floats, Ints, Bools, Ints]:
    """Press true thicknesses: value (NaN), grade, whether a misreading (never), and method."""
    n = len(owner)
    felt = true_mm + wearers.thumb_shift_mm[owner] + rng.normal(0.0, truth.sd_grade_mm, n)
    grade = (felt[:, None] < np.array(truth.grade_cuts_mm)).sum(axis=1)
    grade[true_mm <= 0.0] = GRADES.index("hole")
    return np.full(n, np.nan), grade, np.zeros(n, bool), np.full(n, METHODS.index("thumb"))


def _visits(
    truth: Truth,
    wearers: Wearers,
    pairs: Pairs,
    life: Life,
    silent: Bools,
    rng: np.random.Generator,
) -> _Visits:
    """Every day on which somebody looked at a sole: at intervals, when new, and when noticed."""
    log_end = len(silent) - 1
    pair = np.array([s.pair for s in life.soles])
    fitted = np.array([s.fitted_day for s in life.soles])
    last = np.array([log_end if s.removed_day is None else s.removed_day - 1 for s in life.soles])
    last = np.minimum(last, log_end)
    owner = pairs.wearer[pair]
    usual = np.asarray(truth.check_days)[wearers.kind[owner]]
    most = int((last - fitted).max() / min(truth.check_days) * 2) + 5
    gaps = rng.gamma(2.0, 0.5, (len(pair), most)) * usual[:, None]
    days = fitted[:, None] + 1 + np.cumsum(gaps, axis=1).astype(int)
    sole, at = np.nonzero(days <= last[:, None])
    day = days[sole, at]
    seen = [(d, p) for d, p in life.noticed if rng.random() < NOTICE_IS_LOGGED]
    seen_sole = [_sole_on(life, p, d) for d, p in seen]
    sole = np.r_[sole, np.array(seen_sole, int)]
    day = np.r_[day, np.array([d for d, _ in seen], int)]
    keep = ~_away(life, pair[sole], day) & ~silent[day, owner[sole]]
    has_gauge = wearers.kind[owner] <= KINDS.index("gauge_and_thumb")
    fresh = has_gauge & (fitted <= log_end) & (rng.random(len(pair)) < truth.fitting_check_share)
    new = np.flatnonzero(fresh)
    once = np.unique(np.stack([sole[keep], day[keep]], axis=1), axis=0)
    return _Visits(
        sole=np.r_[once[:, 0], new],
        day=np.r_[once[:, 1], fitted[new]],
        new=np.r_[np.zeros(len(once), bool), np.ones(len(new), bool)],
    )


def _sole_on(life: Life, pair: int, day: int) -> int:
    on = [i for i, s in enumerate(life.soles) if s.pair == pair and s.fitted_day <= day]
    return on[-1]


def _away(life: Life, pair: Ints, day: Ints) -> Bools:
    """Whether each pair was at the bench on each day."""
    order = np.argsort(pair, kind="stable")
    bounds = np.searchsorted(pair[order], np.arange(pair.max(initial=0) + 2))
    away = np.zeros(len(pair), bool)
    for job in life.jobs:
        if job.pair + 1 < len(bounds):
            i = order[bounds[job.pair] : bounds[job.pair + 1]]
            away[i] |= (day[i] >= job.received_day) & (day[i] <= job.returned_day)
    return away
