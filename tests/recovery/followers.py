"""Owners who follow the send-by date: what does their log hold, and how many pairs were past it?

Every owner hands a pair over on its send-by date as it is forecast then, every two weeks anew. A
shop measures the soles that come off, or does not, and fits a new sole two weeks later. Rates and
errors follow the model's own priors, so that only the look back is judged.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from solespan.forecast import WearFit, WearLog, forecast, wear_log
from solespan.forecast.priors import SPREADS

__all__ = ["Followers"]

START = pd.Timestamp("2022-01-03")
NEW_MM, LIMIT_MM, RATE_MM, PACKING_MM = 5.0, 2.0, 0.02, 0.22
CALIPER_MM, DEPTH_GAUGE_MM, PROCESS_MM = 0.18, 0.02, 0.02
STEP_DAYS, BENCH_DAYS, CHECK_DAYS = 14, 14, 75


@dataclass
class Followers:
    """A shop's customers; `hand_overs` holds the true spare thickness of each pair handed over."""

    wearers: int = 40
    pairs_each: int = 3
    days: int = 1300
    seed: int = 1
    measured: bool = True
    follows: bool = True
    hand_overs: list[float] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Draw rates and wear days, and fit the first soles."""
        self.rng = np.random.default_rng(self.seed)
        n = self.wearers * self.pairs_each
        sd = {name: spread.median for name, spread in SPREADS.items()}
        of_wearer = np.repeat(self.rng.normal(0.0, sd["wearer"], self.wearers), self.pairs_each)
        self.log_rate = np.log(RATE_MM) + of_wearer + self.rng.normal(0.0, sd["pair"], n)
        of_foot = np.repeat(self.rng.normal(0.0, sd["wearer_foot"], self.wearers), self.pairs_each)
        self.side = of_foot + self.rng.normal(0.0, sd["pair_foot"], n)
        self.bias = np.repeat(self.rng.normal(0.0, sd["gauge"], self.wearers), self.pairs_each)
        often = np.exp(self.rng.normal(np.log(0.25), 0.35, n))[:, None]
        self.worn = self.rng.random((n, self.days)) < np.minimum(often, 0.8)
        self.on = np.zeros(n, bool)
        self.begun = self.rng.integers(0, 300, n)
        self.soles: list[dict[str, object]] = []
        self.checks: list[dict[str, object]] = []
        self.jobs: list[dict[str, object]] = []
        self.current: list[dict[str, object]] = [{}] * n
        self.lost: list[np.ndarray] = [np.zeros(0)] * n
        self.start = np.zeros((n, 2))
        self.packs = np.zeros((n, 2))
        self.worn_since = [np.zeros(0)] * n

    def _fit_sole(self, pair: int, day: int) -> None:
        number = sum(s["pair_id"] == f"P{pair}" for s in self.soles) + 1
        sole = {
            "sole_id": f"P{pair}-S{number}", "pair_id": f"P{pair}", "fitted_on": _date(day),
            "material": "veg_tan_leather", "nominal_thickness_mm": NEW_MM, "limit_mm": LIMIT_MM,
            "removed_on": pd.NaT,
        }  # fmt: skip
        self.soles.append(sole)
        self.current[pair] = sole
        shoe = self.rng.normal(0.0, SPREADS["shoe"].median, 2)
        own = self.rng.normal(0.0, SPREADS["sole"].median)
        foot = self.side[pair] * np.array([-0.5, 0.5])
        rate = np.exp(self.log_rate[pair] + own + foot + shoe)
        self.start[pair] = NEW_MM + self.rng.normal(0.0, SPREADS["sole_start"].median)
        self.start[pair] += self.rng.normal(0.0, SPREADS["start"].median, 2)
        self.packs[pair] = PACKING_MM + self.rng.normal(0.0, SPREADS["packing"].median, 2)
        worn = self.worn[pair] & (np.arange(self.days) >= day)
        self.worn_since[pair] = np.cumsum(worn)
        steps = self.rng.gamma(rate / PROCESS_MM, PROCESS_MM, (self.days, 2))
        self.lost[pair] = np.cumsum(steps * worn[:, None], axis=0)
        self.on[pair], self.begun[pair] = True, day

    def _thickness(self, pair: int, day: int) -> np.ndarray:
        worn = self.worn_since[pair][day]
        packed = self.packs[pair] * min(worn / 6.0, 1.0)
        return np.asarray(self.start[pair] - packed - self.lost[pair][day])

    def _read(self, pair: int, day: int, method: str, sd_mm: float) -> None:
        bias = self.bias[pair] if method == "caliper" else 0.0
        for foot, mm in zip(("left", "right"), self._thickness(pair, day) + bias, strict=True):
            self.checks.append(
                {
                    "pair_id": f"P{pair}", "checked_on": _date(day), "foot": foot, "point": "ball",
                    "method": method, "value_mm": max(mm + self.rng.normal(0.0, sd_mm), 0.0),
                }
            )  # fmt: skip

    def live(self, fit: WearFit | None = None) -> WearLog:
        """Let all days pass; pairs of owners who follow are handed over on their send-by dates."""
        for day in range(STEP_DAYS, self.days - STEP_DAYS, STEP_DAYS):
            for pair in np.flatnonzero(~self.on & (self.begun <= day)):
                self._fit_sole(int(pair), int(day))
            for pair in np.flatnonzero(self.on):
                since = day - self.begun[pair]
                if since // CHECK_DAYS > (since - STEP_DAYS) // CHECK_DAYS:
                    self._read(int(pair), day, "caliper", CALIPER_MM)
            if fit is not None and self.follows and self.on.any():
                self._hand_over(fit, day)
        return self.log(self.days - STEP_DAYS)

    def _hand_over(self, fit: WearFit, day: int) -> None:
        due = forecast(fit, self.log(day), _date(day))
        main = due[(due["foot"] == "pair") & (due["point"] == "ball")].set_index("pair_id")
        left_days = (main["send_by"] - _date(day)).dt.days
        for pair in np.flatnonzero(self.on):
            left = left_days.get(f"P{pair}", np.nan)
            if not left <= STEP_DAYS - 1:
                continue
            on = day + max(int(left), 0)
            self.hand_overs.append(float(self._thickness(pair, on).min() - LIMIT_MM))
            if self.measured:
                self._read(int(pair), on, "depth_gauge", DEPTH_GAUGE_MM)
            self.current[pair]["removed_on"] = _date(on)
            back = on + BENCH_DAYS
            self.jobs.append(
                {
                    "job_id": f"J{len(self.jobs)}", "pair_id": f"P{pair}", "work": "full_sole",
                    "received_on": _date(on), "finished_on": _date(back),
                    "returned_on": _date(back),
                    "advised": True,
                }
            )  # fmt: skip
            self.worn[pair, on + 1 : back] = False
            self.on[pair], self.begun[pair] = False, back

    def log(self, day: int) -> WearLog:
        """What is known on the evening of a day."""
        pair, at = np.nonzero(self.worn[:, : day + 1])
        started = at >= np.array([self._first(p) for p in range(len(self.on))])[pair]
        pair, at = pair[started], at[started]
        wear = pd.DataFrame({"pair_id": [f"P{p}" for p in pair], "worn_on": _date(at)})
        known = wear_log(
            pd.DataFrame(
                {
                    "pair_id": [f"P{p}" for p in range(len(self.on))],
                    "wearer_id": [f"W{p // self.pairs_each}" for p in range(len(self.on))],
                    "construction": "goodyear_welted",
                }
            ),
            pd.DataFrame(self.soles),
            wear.assign(hours=8.0),
            pd.DataFrame(self.checks) if self.checks else None,
            None,
            pd.DataFrame(self.jobs) if self.jobs else None,
        )
        return known.until(_date(day))

    def _first(self, pair: int) -> float:
        own = [s["fitted_on"] for s in self.soles if s["pair_id"] == f"P{pair}"]
        return float((min(own) - START).days) if own else np.inf


def _date(day: object) -> pd.Timestamp:
    return START + pd.to_timedelta(day, "D")
