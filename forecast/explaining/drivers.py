"""Drivers of wear: what makes a pair wear faster or slower than others, and by how much?

Every effect is a percentage on the wear, with its 80 % interval. What has no such size (thickness,
season) leaves the interval empty. Effects of the wearer, the pair and the feet are what this pair's
and its wearer's own checks say. Those of material, driving and ground come from everybody's.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from solespan.forecast.covariates import FLAGS
from solespan.forecast.explaining.one_pair import OnePair
from solespan.forecast.frames import FEET
from solespan.forecast.panel.wear_cells import base_exposure, days_where
from solespan.forecast.use.calendar import wear_days_ahead

__all__ = ["COLUMNS", "Driver", "drivers"]

COLUMNS = ("driver", "effect_percent", "low_percent", "high_percent", "note")
REFERENCE = "oak_bark_leather"
_Z80 = 1.2815515655446004
_MONTH_DAYS, _YEAR_DAYS = 28, 365


@dataclass(frozen=True)
class Driver:
    """One driver: its effect on wear in percent with an 80 % interval, and a note."""

    driver: str
    effect_percent: float
    low_percent: float
    high_percent: float
    note: str

    @property
    def clear(self) -> bool:
        """Whether the whole interval lies on one side of no effect."""
        return self.low_percent > 0.0 or self.high_percent < 0.0


def drivers(mine: OnePair) -> list[Driver]:
    """List what drives a pair's date, in the order in which an owner would ask."""
    panel = mine.known.panel
    sole = int(np.flatnonzero(panel.sole_pair == mine.pair)[-1])
    ball = np.flatnonzero((panel.path_sole == sole) & (panel.path_point == 0))
    effects = mine.known.effects(sole)
    by = "year" if panel.unlogged[mine.pair] else "wear day"
    against = {
        "wearer": f"wear a {by}, against the average wearer",
        "pair": f"wear a {by}, against the wearer's other pairs",
        "sole": "this sole against the pair's average sole",
    }
    out = [_material(mine, int(ball[0]))]
    out += [_of_log(name, *effects[name], note) for name, note in against.items()]
    out += [_feet(*effects["foot"]), _driving(mine, ball)]
    out += _ground(mine, sole)
    out += _use(mine)
    return out


def _of_log(name: str, mean: float, sd: float, note: str) -> Driver:
    """Turn an effect on the log rate into percent."""
    low, middle, high = (100.0 * float(np.expm1(mean + z * sd)) for z in (-_Z80, 0.0, _Z80))
    return Driver(name, middle, low, high, note)


def _material(mine: OnePair, path: int) -> Driver:
    panel = mine.known.panel
    sole_id = panel.sole_ids[panel.path_sole[path]]
    soles = mine.log.soles
    word = str(soles.loc[soles["sole_id"] == sole_id, "material"].iloc[0])
    plain, reference = (w.replace("_", " ") for w in (word, REFERENCE))
    if word == REFERENCE:
        return Driver("material", 0.0, 0.0, 0.0, f"{plain}, the yardstick for other materials")
    mean, sd = mine.fit.effect({f"material_{word}": 1.0, f"material_{REFERENCE}": -1.0})
    return _of_log("material", mean, sd, f"{plain} against {reference}")


def _feet(left_less_right: float, sd: float) -> Driver:
    """Compare the faster foot with the other."""
    lead = int(left_less_right < 0.0)
    note = f"{FEET[lead]} shoe against the {FEET[1 - lead]} at the ball"
    return _of_log("foot", abs(left_less_right), sd, note)


def _driving(mine: OnePair, ball: np.ndarray) -> Driver:
    panel = mine.known.panel
    wearer = panel.wearer_ids[panel.path_wearer[ball[0]]]
    wearers = mine.log.wearers
    foot = wearers.loc[wearers["wearer_id"] == wearer, "driving_foot"].iloc[0]
    if foot not in FEET:
        why = (
            "not known which foot turns on the car's floor"
            if pd.isna(foot)
            else ("both feet drive alike" if foot == "both" else "does not drive")
        )
        return Driver("driving foot", np.nan, np.nan, np.nan, why)
    mean, sd = mine.fit.effect({"drive_ball": 1.0})
    return _of_log("driving foot", mean, sd, f"{foot} foot at the ball, over all drivers")


def _ground(mine: OnePair, sole: int) -> Iterator[Driver]:
    """Tell what the flagged days did to this pair's wear, beside dry pavement."""
    panel = mine.known.panel
    every = mine.log.wear_days
    of_pair = (every["pair_id"] == mine.pair_id).to_numpy(bool)
    since = np.datetime64(int(panel.sole_fitted[sole]), "D")
    on_sole = of_pair & (every["worn_on"].to_numpy() >= since)
    days = days_where(every, on_sole if on_sole.any() else of_pair)
    if not len(days["worn_on"]):
        return
    base = base_exposure(days)
    flags = {name: covariate.flag(days) for name, covariate in FLAGS.items()}
    for name, covariate in FLAGS.items():
        if not covariate.days or not flags[name].any():
            continue
        mean, sd = mine.fit.effect({f"log_{name}": 1.0})
        share = float(flags[name].mean())
        others = base * np.exp(
            sum(
                mine.fit.value(f"log_{other}") * flags[other]
                for other in FLAGS
                if other != name and FLAGS[other].days
            )
        )
        part = float(others[flags[name]].sum() / max(others.sum(), 1e-9))
        low, middle, high = (
            100.0 * part * float(np.expm1(mean + z * sd)) for z in (-_Z80, 0, _Z80)
        )
        low, high = min(low, high), max(low, high)
        yield Driver(
            covariate.days,
            middle,
            low,
            high,
            f"{100 * share:.0f} % of its wear days, each counted as {np.exp(mean):.1f} dry ones",
        )


def _use(mine: OnePair) -> Iterator[Driver]:
    """How often the pair will be worn, beside the average pair of the rack, and the season."""
    known = mine.known
    on = known.panel.has_sole
    if not on[mine.pair]:
        return
    horizon = known.ahead.horizon_days
    year = max(min(_YEAR_DAYS, horizon), 1)
    expected, spread = wear_days_ahead(known.ahead, year)
    weekly = expected / year * 7.0
    factor = np.exp(_Z80 * spread[mine.pair])
    middle = float(weekly[mine.pair])
    usual = float(weekly[on].mean())
    yield Driver(
        "use",
        100.0 * (middle / max(usual, 1e-9) - 1.0),
        100.0 * (middle / factor / max(usual, 1e-9) - 1.0),
        100.0 * (middle * factor / max(usual, 1e-9) - 1.0),
        f"about {middle:.1f} wear days a week over the next year ({middle / factor:.1f} to "
        f"{middle * factor:.1f})"
        + (", reckoned from the calendar" if known.panel.unlogged[mine.pair] else "")
        + (f", against {usual:.1f} for the average pair of the rack" if on.sum() > 1 else ""),
    )
    month = max(min(_MONTH_DAYS, horizon), 1)
    soon, _ = wear_days_ahead(known.ahead, month)
    now = float(soon[mine.pair] / month * 7.0)
    yield Driver(
        "season",
        100.0 * (now / max(middle, 1e-9) - 1.0),
        np.nan,
        np.nan,
        f"about {now:.1f} wear days a week in the next four weeks",
    )
