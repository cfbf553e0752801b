"""Simulation-based calibration racks: what do owners look like whom the priors themselves made?

Talts, Betancourt, Simpson, Vehtari and Gelman (2018), "Validating Bayesian inference algorithms
with simulation-based calibration": draw parameters from the priors, data from the parameters, and
fit. The rank of each true value among the draws of its posterior is then uniform. Only the numbers
of the priors are taken from the engine; wear, use, readings and grades are drawn here, by day. The
engine has no prior of the habits of an owner who logs, so those are of the kind of its worlds.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import ndtr

from solespan.forecast.model.estimation import PROCESS_MEDIAN_MM
from solespan.forecast.observation.removal_threshold import (
    HOLE_SHARE,
    UNLOGGED_SENDING_SD_MM,
    Sending,
)
from solespan.forecast.observation.thumb import ThumbScale
from solespan.forecast.priors import (
    MATERIAL_LOG_SD,
    MATERIAL_RATE,
    METHOD_SD_MM,
    POPULATION_SD,
    SPREADS,
)

__all__ = ["AS_OF", "HORIZON_DAYS", "KINDS", "DrawnRack", "draw_rack"]

AS_OF = pd.Timestamp("2026-06-30")
HORIZON_DAYS = 3650
KINDS = ("gauge", "thumb", "silent")
NEW_MM, LIMIT_MM, PACKING_DAYS, HOLE_MM = 5.0, 2.0, 6.0, 0.3
MATERIAL = "veg_tan_leather"
WANDER_SD, WANDER_WEEKS = 0.35, 104.0  # log, by which a logged pace wanders, and for how long
AHEAD_WEEK_SD = 0.037  # log, by which an unlogged pace wanders from today on
STREAK_SHAPE = 2.0  # of the gamma favour that a pair finds in a week
MOST_TRIES = 1000


@dataclass(frozen=True)
class DrawnRack:
    """Frames of one owner's log, and the truth of the first pair's left foot and of its date.

    rate_mm : mm per standard wear day, left. settled_mm : thickness today once packed, left.
    pace : wear days of the next 180 days, or a week's where nothing is logged. due_days : days
    until the first foot is at the limit; infinite beyond the horizon.
    """

    frames: dict[str, pd.DataFrame]
    rate_mm: float
    settled_mm: float
    pace: float
    due_days: float


def draw_rack(kind: str, rng: np.random.Generator) -> DrawnRack:
    """Draw one owner of a kind of `KINDS` from the priors; soles that came off are drawn again."""
    for _ in range(MOST_TRIES):
        rack = _Rack(kind, rng)
        if rng.random() < rack.chance_still_on():
            return rack.told()
    raise AssertionError("no owner has all soles still on")


class _Rack:
    """One owner of one to four pairs, all on their first soles."""

    def __init__(self, kind: str, rng: np.random.Generator) -> None:
        """Draw all but what is looked at."""
        self.kind, self.rng = kind, rng
        self.pairs = n = int(rng.integers(1, 5))
        sd = {k: s.median * np.exp(rng.normal(0.0, s.log_sd)) for k, s in SPREADS.items()}
        self.sd = sd
        self.age = rng.integers(40, 600, n)
        self.days = int(self.age.max())
        level = np.log(MATERIAL_RATE[MATERIAL]) + rng.normal(0.0, MATERIAL_LOG_SD)
        level += self._population("level") + rng.normal(0.0, sd["wearer"])
        side = np.array([-0.5, 0.5])
        foot = rng.normal(0.0, sd["wearer_foot"]) + rng.normal(0.0, sd["pair_foot"], n)
        own = rng.normal(0.0, np.hypot(sd["pair"], sd["sole"]), n)
        log_rate = level + own[:, None] + side * foot[:, None] + rng.normal(0.0, sd["shoe"], (n, 2))
        self.rate = np.exp(log_rate)
        self.start = NEW_MM + self._population("start_mm")
        self.start = self.start + rng.normal(0.0, sd["sole_start"], (n, 1))
        self.start = self.start + rng.normal(0.0, sd["start"], (n, 2))
        self.packs = self._population("packing_mm") + rng.normal(0.0, sd["packing"], (n, 2))
        self.process_mm = PROCESS_MEDIAN_MM * np.exp(rng.normal(0.0, 0.7))
        self._draw_use()
        steps = rng.gamma(
            self.rate[:, None] / self.process_mm, self.process_mm, (*self.worn.shape, 2)
        )
        self.lost = np.cumsum(steps * self.worn[:, :, None], axis=1)
        self.count = np.cumsum(self.worn, axis=1)

    def _population(self, name: str) -> float:
        mean, sd = POPULATION_SD[name]
        return float(self.rng.normal(mean, sd))

    def _draw_use(self) -> None:
        """Wear days from the oldest sole's first day until the horizon, shape (pairs, days)."""
        rng, n = self.rng, self.pairs
        every = self.days + HORIZON_DAYS
        week = np.arange(every) // 7
        weeks = int(week[-1]) + 1
        if self.kind == "silent":
            log_pace = self._population("pace") + self._population("pace_business")
            log_pace += rng.normal(0.0, self.sd["wearer_pace"])
            log_pace = log_pace + rng.normal(
                0.0, np.hypot(self.sd["pace"], self.sd["sole_pace"]), n
            )
            steps = rng.normal(0.0, AHEAD_WEEK_SD, (n, weeks)) - 0.5 * AHEAD_WEEK_SD**2
            steps[:, : self.days // 7 + 1] = 0.0
            wander = np.cumsum(steps, axis=1)
        else:
            log_pace = np.log(3.5 / n) + rng.normal(0.0, 0.25) + rng.normal(0.0, 0.45, n)
            wander = _returning(rng, n, weeks)
        self.log_pace = log_pace
        level = log_pace[:, None] + wander
        favour = rng.gamma(STREAK_SHAPE, 1.0 / STREAK_SHAPE, level.shape)
        chance = np.minimum(np.exp(level) * favour / 7.0, 0.95)[:, week]
        on = np.arange(every) >= (self.days - self.age)[:, None]
        self.worn = (rng.random((n, every)) < chance) & on

    def _settled(self, day: int) -> np.ndarray:
        return np.asarray(self.start - self.packs - self.lost[:, day])

    def _thickness(self, pair: int, day: int) -> np.ndarray:
        packed = min(self.count[pair, day] / PACKING_DAYS, 1.0)
        return np.asarray(self.start[pair] - packed * self.packs[pair] - self.lost[pair, day])

    def chance_still_on(self) -> float:
        """Chance that no sole has come off until today."""
        silent = self.kind == "silent"
        sd = UNLOGGED_SENDING_SD_MM if silent else Sending().sd_mm
        at = LIMIT_MM + self.rng.normal(
            0.0, self.sd["sender"] if silent else POPULATION_SD["sending_mm"][1]
        )
        thick = np.array([self._thickness(p, self.days - 1) for p in range(self.pairs)])
        waits = ndtr((thick - HOLE_MM) / min(sd, HOLE_MM + 0.3 * sd))
        lasts = (1.0 - HOLE_SHARE) * ndtr((thick - at) / sd) + HOLE_SHARE * waits
        return float(np.sqrt(lasts).prod())

    def told(self) -> DrawnRack:
        """What is logged until today, and the truth of the first pair."""
        today = self.days - 1
        left = (
            self.start[0] - self.packs[0] * np.minimum(self.count[0] / PACKING_DAYS, 1.0)[:, None]
        )
        gone = np.flatnonzero((left - self.lost[0] <= LIMIT_MM).any(axis=1))
        due = np.inf
        if len(gone):
            due = 0.0 if gone[0] <= today else float(gone[0] - today - self.rng.random())
        if self.kind == "silent":
            pace = float(np.exp(self.log_pace[0]))
        else:
            pace = float(self.worn[0, self.days : self.days + 180].sum() + self.rng.random() - 0.5)
        settled = float(self._settled(today)[0, 0])
        return DrawnRack(self._frames(), float(self.rate[0, 0]), settled, pace, due)

    def _frames(self) -> dict[str, pd.DataFrame]:
        ids = [f"p{i}" for i in range(self.pairs)]
        frames = {
            "pairs": pd.DataFrame(
                {
                    "pair_id": ids, "wearer_id": "ada", "construction": "goodyear_welted",
                    "dress_code": "business",
                }
            ),
            "soles": pd.DataFrame(
                {
                    "sole_id": [f"{p}-1" for p in ids], "pair_id": ids, "material": MATERIAL,
                    "fitted_on": [_date(1 - a) for a in self.age], "limit_mm": LIMIT_MM,
                    "nominal_thickness_mm": NEW_MM,
                }
            ),
        }  # fmt: skip
        checks = self._checks()
        if checks:
            frames["checks"] = pd.DataFrame(checks)
        if self.kind != "silent":
            pair, day = np.nonzero(self.worn[:, : self.days])
            worn = {"pair_id": [ids[p] for p in pair], "worn_on": _date(day - self.days + 1)}
            frames["wear_days"] = pd.DataFrame(worn).assign(hours=8.0, surface="pavement")
        return frames

    def _checks(self) -> list[dict[str, object]]:
        """Every 80 days, by gauge or thumb; half of those who log nothing were read once."""
        rng, scale = self.rng, ThumbScale()
        thumb = self.kind == "thumb"
        error_mm = METHOD_SD_MM["caliper"] * np.exp(rng.normal(0.0, 0.4))
        bias = rng.normal(0.0, self.sd["gauge"])
        felt = self._population("thumb_shift_mm") + rng.normal(0.0, self.sd["thumb"])
        rows: list[dict[str, object]] = []
        for pair in range(self.pairs):
            first = self.days - int(self.age[pair])
            days = list(range(first + 80, self.days, 80))
            if self.kind == "silent":
                days = [int(rng.integers(first, self.days))] if rng.random() < 0.5 else []
            for day in days:
                mm = self._thickness(pair, day)
                for foot, at in zip(("left", "right"), mm, strict=True):
                    row = {"pair_id": f"p{pair}", "checked_on": _date(day - self.days + 1),
                           "foot": foot, "point": "ball"}  # fmt: skip
                    if thumb:
                        press = at + felt + rng.normal(0.0, scale.sd_mm)
                        cut = (press < scale.firm_from_mm) + (press < scale.give_from_mm)
                        word = ("firm", "give", "soft")[int(cut)]
                        rows.append(row | {"method": "thumb", "grade": word})
                    else:
                        read = max(at + bias + rng.normal(0.0, error_mm), 0.0)
                        rows.append(row | {"method": "caliper", "value_mm": read})
        return rows


def _returning(rng: np.random.Generator, n: int, weeks: int) -> np.ndarray:
    """Autoregression of SD `WANDER_SD` that forgets within `WANDER_WEEKS`, shape (n, weeks)."""
    keeps = np.exp(-1.0 / WANDER_WEEKS)
    shocks = rng.normal(0.0, WANDER_SD, (n, weeks))
    out = shocks.copy()
    for week in range(1, weeks):
        out[:, week] = keeps * out[:, week - 1] + np.sqrt(1.0 - keeps**2) * shocks[:, week]
    return out


def _date(day: int | np.ndarray) -> pd.Timestamp | pd.DatetimeIndex:
    return AS_OF + pd.to_timedelta(day, unit="D")
