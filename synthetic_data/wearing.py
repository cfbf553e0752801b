"""Simulated wears: which pair does each wearer take on which day, for how long, on what ground?

Time is counted in days from the first day of the world; a wearer wears at most one of these pairs
a day. A kept rest is one full day after wear, one more after a wet day where four or more pairs
are owned.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from solespan.forecast.frames import DRESS_CODES
from solespan.synthetic_data.conditions import draw_others, factor_of_others
from solespan.synthetic_data.pairs import Bools, Floats, Ints, Pairs, Wearers
from solespan.synthetic_data.sim_calendar import Calendar
from solespan.synthetic_data.truth import Truth
from solespan.synthetic_data.wear_process import is_leather

__all__ = [
    "DRIVES_SHARE",
    "WINTER",
    "Conditions",
    "Habits",
    "draw_conditions",
    "draw_habits",
    "draw_rate_shift",
    "pick_pairs",
    "wander",
    "wet_chances",
    "winter_wave",
]

# chance of indoor, pavement, rough by dress code: invented round a measured mix of 45 % indoor
SURFACE_CHANCES = np.array(
    [[0.40, 0.60, 0.00], [0.30, 0.68, 0.02], [0.12, 0.76, 0.12], [0.03, 0.57, 0.40]]
)
# season's swing by dress code: +1 favours winter, -1 summer
WINTER = np.array([{"outdoor": 1.0, "casual": -0.6}.get(code, 0.0) for code in DRESS_CODES])
RETURN_RATE = 0.99  # per week: drift wanders, but not for ever
SLOW_RETURN = 0.999  # per week, of rates that wander
STREAK_MEMORY = 0.6  # per week
JULY_FIRST = 181  # place in the year
DRIVES_SHARE = 0.8  # of a driver's wear days: invented


@dataclass(frozen=True)
class Habits:
    """`go_out` (days, wearers): chance of wearing any pair; `favour` (weeks, pairs): log weight."""

    go_out: Floats
    favour: Floats
    wet_chance: Floats
    owned: Ints
    leather: Bools


@dataclass(frozen=True)
class Conditions:
    """One entry per wear of one day: what the day was like and what it counts."""

    hours: Floats
    surface: Ints
    wet: Bools
    driving_minutes: Floats
    exposure: Floats
    others: dict[str, np.ndarray] = field(default_factory=dict)


def draw_habits(
    truth: Truth,
    wearers: Wearers,
    pairs: Pairs,
    rng: np.random.Generator,
    *,
    calendar: Calendar,
    last_day: int,
) -> Habits:
    """Chances and weights of days 0 to `last_day`, drawn ahead; a later end changes no past."""
    n_days = last_day + 1
    n_weeks = n_days // 7 + 1
    drift, streak, level, week, holiday, own, trip, change = rng.spawn(8)
    year_day = calendar.year_days(n_days)
    winter = winter_wave(year_day)
    sd_streak = truth.sd_streak * np.sqrt(1 - STREAK_MEMORY**2)
    favour = (
        pairs.log_share
        + wander(drift, n_weeks, len(pairs), RETURN_RATE, truth.sd_drift_week)
        + wander(streak, n_weeks, len(pairs), STREAK_MEMORY, sd_streak)
    )
    favour[: len(winter[::7])] += truth.season * winter[::7, None] * WINTER[pairs.dress_code]
    weeks = len(year_day[::7])
    favour[:weeks] += _own_seasons(truth, len(pairs), year_day[::7], own)
    favour += _changes(truth, len(pairs), n_weeks, change)
    weekly = wander(level, n_weeks, len(wearers), RETURN_RATE, truth.sd_drift_week)
    weekly += week.normal(-0.5 * truth.sd_week**2, truth.sd_week, weekly.shape)
    by_weekday = np.where(calendar.weekdays(n_days) < 5, 1.2, 0.5)[:, None]
    go_out = wearers.wear_days_per_week / 7.0 * np.exp(weekly)[np.arange(n_days) // 7]
    go_out *= np.where(wearers.works_weekdays, by_weekday, 1.0)
    _take_holidays(go_out, year_day, truth, holiday)
    _take_trips(go_out, truth, trip)
    go_out[np.arange(n_days)[:, None] < wearers.first_day] = 0.0
    return Habits(
        go_out=np.minimum(go_out, 0.98),
        favour=favour,
        wet_chance=wet_chances(year_day),
        owned=_owned(wearers),
        leather=is_leather(pairs.material),
    )


def _own_seasons(truth: Truth, n: int, year_day: Ints, rng: np.random.Generator) -> Floats:
    """Log weight that each pair's own year adds in each week, (weeks, pairs)."""
    swing = (
        rng.normal(0.0, truth.sd_own_season, (2, n)) if truth.sd_own_season else np.zeros((2, n))
    )
    angle = 2 * np.pi * year_day[:, None] / 365.0
    out: Floats = np.cos(angle) * swing[0] + np.sin(angle) * swing[1]
    return out


def _changes(truth: Truth, n: int, n_weeks: int, rng: np.random.Generator) -> Floats:
    """Log weight of each pair beside its usual one: another from each change on, (weeks, pairs)."""
    out = np.zeros((n_weeks, n))
    if truth.habit_changes_per_year:
        counts: Any = rng.poisson(truth.habit_changes_per_year * n_weeks / 52.0, n)
        for pair, count in enumerate(counts):
            for week in np.sort(rng.integers(0, n_weeks, count)):
                out[week:, pair] = rng.normal(0.0, truth.sd_habit_change)
    return out


def _take_trips(go_out: Floats, truth: Truth, rng: np.random.Generator) -> None:
    """Stop wear for long absences; half of the wearers go at the same time each year."""
    n_days, n_wearers = go_out.shape
    if not truth.trips_per_year:
        return
    usual: Any = rng.integers(0, 365, n_wearers)
    same_time: Any = rng.random(n_wearers) < 0.5
    for year_start in range(0, n_days, 365):
        counts: Any = rng.poisson(truth.trips_per_year, n_wearers)
        for wearer, count in enumerate(counts):
            starts = rng.integers(0, 365, count)
            if same_time[wearer]:
                starts[:1] = usual[wearer]
            for start, length in zip(starts, rng.uniform(*truth.trip_days, count), strict=True):
                at = year_start + int(start)
                go_out[at : at + int(length), wearer] = 0.0


def winter_wave(year_day: Ints) -> Floats:
    """1 in the middle of January, -1 in the middle of July."""
    return np.asarray(np.cos(2 * np.pi * (year_day - 15) / 365.0))


def wet_chances(year_day: Ints) -> Floats:
    """Chance that a wear day is wet, by place in the year."""
    return 0.20 + 0.08 * winter_wave(year_day)


def wander(rng: np.random.Generator, n_weeks: int, n: int, memory: float, sd: float) -> Floats:
    """Columns of independent first-order autoregressions, begun in their long-run state."""
    out = rng.normal(0.0, sd, (n_weeks, n))
    out[0] /= np.sqrt(1.0 - memory**2)
    for week in range(1, n_weeks):
        out[week] += memory * out[week - 1]
    return out


def _take_holidays(go_out: Floats, year_day: Ints, truth: Truth, rng: np.random.Generator) -> None:
    """Stop wear for spells of 4 to 14 days, half of them in July and August."""
    n_days, n_wearers = go_out.shape
    for year_start in range(0, n_days, 365):
        to_july = (JULY_FIRST - int(year_day[year_start])) % 365
        counts: Any = rng.poisson(truth.holidays_per_year, n_wearers)
        for wearer, count in enumerate(counts):
            in_summer = rng.random(count) < 0.5
            start = np.where(
                in_summer, to_july + rng.integers(0, 60, count), rng.integers(0, 365, count)
            )
            for at, length in zip(year_start + start, rng.integers(4, 15, count), strict=True):
                go_out[at : at + length, wearer] = 0.0


def _owned(wearers: Wearers) -> Ints:
    """Pair numbers of each wearer, (wearers, most pairs), filled up with -1."""
    most = int(wearers.n_pairs.max())
    place = np.arange(most) < wearers.n_pairs[:, None]
    owned = np.full(place.shape, -1)
    owned[place] = np.arange(int(wearers.n_pairs.sum()))
    return owned


def pick_pairs(habits: Habits, day: int, free: Bools, rng: np.random.Generator) -> Ints:
    """The pairs worn on one day: per wearer who goes out, one free pair by weight.

    The largest of log weight plus Gumbel noise is a draw with probability proportional to weight.
    """
    score = habits.favour[day // 7] + rng.gumbel(size=len(free))
    score[~free] = -np.inf
    padded = np.append(score, -np.inf)[habits.owned]
    best = padded.argmax(axis=1)
    rows = np.arange(len(best))
    goes = rng.random(len(best)) < habits.go_out[day]
    goes &= np.isfinite(padded[rows, best])
    picked: Ints = habits.owned[rows, best][goes]
    return picked


def draw_conditions(
    truth: Truth,
    wearers: Wearers,
    pairs: Pairs,
    worn: Ints,
    wet_chance: Floats | float,
    leather: Bools,
    rng: np.random.Generator,
) -> Conditions:
    """Hours, ground, water and driving of each wear of a pair; exposure is the product.

    `worn` names the pairs, `leather` says of each whether it has a leather sole; `wet_chance` is
    the day's, one for all or one each.
    """
    n = len(worn)
    owner = pairs.wearer[worn]
    hours = wearers.usual_hours[owner] * rng.lognormal(-0.5 * truth.sd_hours**2, truth.sd_hours, n)
    hours = np.clip(hours, 1.0, 18.0)
    bounds = SURFACE_CHANCES[pairs.dress_code[worn]].cumsum(axis=1)[:, :2]
    surface = (rng.random(n)[:, None] > bounds).sum(axis=1)
    wet = rng.random(n) < wet_chance * np.where(leather, 0.8, 1.5)
    wet &= surface > 0
    minutes = wearers.driving_minutes[owner] * rng.lognormal(-0.125, 0.5, n)
    drives = rng.random(n) < DRIVES_SHARE
    factor = np.array([truth.indoor_factor, 1.0, truth.rough_factor])[surface]
    factor = factor * np.where(wet, truth.wet_factor, 1.0)
    others = draw_others(truth, n, rng)
    factor = factor * factor_of_others(truth, others, n)
    return Conditions(
        hours=hours,
        surface=surface,
        wet=wet,
        driving_minutes=np.where(drives, np.minimum(minutes, 240.0), 0.0),
        exposure=hours / 8.0 * factor,
        others=others,
    )


def draw_rate_shift(
    truth: Truth,
    wearers: Wearers,
    pairs: Pairs,
    rng: np.random.Generator,
    *,
    log_end: int,
    last_day: int,
) -> Floats:
    """Log rate of each pair on each day, less what it usually is; shape (days, pairs).

    Rates wander by wearer, begun at nought, and those of some wearers jump once. Where neither
    happens the array is one row of zeros, as nothing moves.
    """
    if truth.rate_jump_share <= 0.0 and truth.sd_rate_week <= 0.0:
        return np.zeros((1, len(pairs)))
    n_days, n = last_day + 1, len(wearers)
    weekly = wander(rng, n_days // 7 + 1, n, SLOW_RETURN, truth.sd_rate_week)
    shift = (weekly - weekly[0])[np.arange(n_days) // 7]
    jumps = rng.random(n) < truth.rate_jump_share
    shift[max(log_end - truth.rate_jump_days, 0) :] += truth.rate_jump_log * jumps
    return np.asarray(shift[:, pairs.wearer])
