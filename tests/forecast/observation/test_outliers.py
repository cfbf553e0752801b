"""Are gross slips set aside, and nothing but gross slips?

Real growth series leave a straight line for good. They once had up to nine in ten readings set
aside: what a slip said was taken away, yet it went on to count in the gauge's log determinant, and
a reading was held against the line and not against its neighbours.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

from solespan.forecast import WearFit, WearModel, diagnose
from solespan.forecast.log import WearLog
from solespan.forecast.observation.outliers import SLIP_SD_MM, good_weight, left_out
from solespan.forecast.panel.ranks import by_rank
from tests.forecast.builders import TODAY, day, log_of, pair_row, rack, reading, sole_row, together
from tests.reference.conftest import given, typed

MOST_SLIPS = 0.03
NOMINAL_MM, MOST_LOST_MM = 9.0, 6.0


@pytest.mark.parametrize("seed", range(3))
def test_a_row_is_held_against_what_a_dense_computation_says_of_the_others(seed: int) -> None:
    rng = np.random.default_rng(seed)
    path = np.repeat(np.arange(5), [4, 1, 6, 0, 3])
    wear = np.concatenate([np.sort(rng.uniform(0.0, 3.0, n)) for n in (4, 1, 6, 0, 3)])
    variance, residual = rng.uniform(0.01, 0.3, len(path)), rng.normal(0.0, 0.5, len(path))
    off, walk = left_out(residual, wear, variance, by_rank(path, 5), 0.1)
    same = path[:, None] == path
    covariance = 0.1 * np.minimum(wear[:, None], wear) * same + np.diag(variance)
    for i in range(len(path)):
        others = np.arange(len(path)) != i
        gain = np.linalg.solve(covariance[np.ix_(others, others)], covariance[others, i])
        assert off[i] == pytest.approx(residual[i] - gain @ residual[others], abs=1e-10)
        spread = covariance[i, i] - gain @ covariance[others, i] - variance[i]
        assert walk[i] == pytest.approx(spread, abs=1e-10)


def test_the_weight_is_the_chance_of_the_mixture() -> None:
    off, variance, walk, share = np.linspace(-4.0, 4.0, 41), 0.04, 0.09, 0.02

    def density(total: float) -> np.ndarray:
        return np.exp(-0.5 * off**2 / total) / np.sqrt(total)

    good, slip = (1 - share) * density(variance + walk), share * density(SLIP_SD_MM**2 + walk)
    weight = good_weight(off, np.full(41, variance), np.full(41, walk), share)
    np.testing.assert_allclose(weight, good / (good + slip), atol=1e-6)
    assert (good_weight(off, np.full(41, variance), np.full(41, walk), 0.0) == 1.0).all()


def table(name: str) -> pd.DataFrame:
    """Read a typed series: unit, x, value."""
    return typed(name).rename(columns={"group": "unit", "occasion": "x"})


def since_first(rows: pd.DataFrame) -> pd.DataFrame:
    """Loss as what was gained since the first reading of a unit."""
    return rows.assign(loss=rows["value"] - rows.groupby("unit")["value"].transform("first"))


def heights() -> pd.DataFrame:
    """Heights of boys over their ages, counted from about the first visit."""
    ages = typed("boys_centred_age")["value"].to_numpy() + 1.0
    return since_first(table("boys_height_cm").assign(x=ages))


def logs_of_cracks() -> pd.DataFrame:
    """Log lengths of cracks."""
    rows = table("fatigue_crack_in")
    return since_first(rows.assign(value=np.log(rows["value"])))


def lasers() -> pd.DataFrame:
    """Increase of current."""
    return given("laser_degradation").rename(columns={"hours": "x", "increase": "loss"})


def sliding_metal() -> pd.DataFrame:
    """Depth of wear scars."""
    return given("metal_wear").rename(columns={"cycles": "x", "microns": "loss"})


# rows with unit, x and loss, and wear days per unit of x
SERIES: dict[str, tuple[Callable[[], pd.DataFrame], float]] = {
    "lasers": (lasers, 0.1),
    "sliding metal": (sliding_metal, 1.0),
    "cracks": (lambda: since_first(table("fatigue_crack_in")), 3.0),
    "logs of cracks": (logs_of_cracks, 1.0),
    "heights": (heights, 100.0),
    "orthodontic growth": (lambda: since_first(table("orthodontic_growth_mm")), 40.0),
    "sleep": (lambda: since_first(table("sleep_deprivation_ms")), 20.0),
}


def log_of_series(rows: pd.DataFrame, days: float, method: str) -> WearLog:
    """Each unit as the left shoe of one pair, worn every day; its greatest loss as 6 mm."""
    mm = MOST_LOST_MM / rows["loss"].max()
    rows = rows.assign(
        day=((rows["x"] - rows["x"].min()) * days).round().astype(int),
        pair="unit-" + rows["unit"].astype(str),
    )
    pairs, last = rows["pair"].unique(), int(rows["day"].max())
    checks = [
        reading(row.pair, row.day, "left", NOMINAL_MM - mm * row.loss, method)
        for row in rows.itertuples()
    ]
    wear = pd.DataFrame(
        {
            "pair_id": np.repeat(pairs, last),
            "worn_on": np.tile([day(k) for k in range(1, last + 1)], len(pairs)),
            "hours": 8.0,
        }
    )
    soles = [sole_row(p, nominal_thickness_mm=NOMINAL_MM) for p in pairs]
    return log_of(
        {
            "pairs": pd.DataFrame([pair_row(p, "lab") for p in pairs]),
            "soles": pd.DataFrame(soles),
            "wear_days": wear,
            "checks": pd.DataFrame(checks),
        }
    )


@pytest.mark.parametrize("method", ["caliper", "depth_gauge"])
@pytest.mark.parametrize("name", SERIES)
def test_few_readings_of_a_real_series_are_slips(name: str, method: str) -> None:
    """Sources: `tests.reference.conftest`."""
    rows, days = SERIES[name]
    log = log_of_series(rows(), days, method)
    last = max(log.checks["checked_on"].max(), log.wear_days["worn_on"].max())
    found = diagnose(WearModel(log, last).fit(), log, last)
    assert len(found.slips) <= MOST_SLIPS * len(log.checks)


def test_gross_slips_are_found_and_leave_the_gauge_as_it_is() -> None:
    """A twentieth of the readings, 1.5 mm and more off: all of them, and few others."""
    frames = together(
        *(rack(3, wearer_id=w, seed=20 + i, noise_mm=0.1) for i, w in enumerate("abcdef"))
    )
    rng = np.random.default_rng(8)
    checks = frames["checks"]
    slip = rng.choice(checks.index[checks["checked_on"] > day(30)], len(checks) // 20, False)
    moved = checks.copy()
    moved.loc[slip, "value_mm"] += rng.choice([-1.0, 1.0], len(slip)) * rng.uniform(
        1.5, 3.0, len(slip)
    )
    moved["value_mm"] = moved["value_mm"].clip(lower=0.05)
    last = frames["wear_days"]["worn_on"].max()
    right = WearModel(log_of(frames), last).fit()
    log = log_of(frames | {"checks": moved})
    fit = WearModel(log, last).fit()
    assert fit.noise.gauge_sd_mm[0] == pytest.approx(right.noise.gauge_sd_mm[0], rel=0.25)
    found = diagnose(fit, log, last).slips
    key = ["pair_id", "checked_on", "foot"]
    truly = set(map(tuple, moved.loc[slip, key].to_numpy()))
    said = set(map(tuple, found[key].to_numpy()))
    assert len(truly & said) >= 0.95 * len(truly)
    assert len(said - truly) <= 0.01 * len(checks)


def test_racks_without_a_slip_have_next_to_none(shared_fit: WearFit, shared_log: WearLog) -> None:
    assert len(diagnose(shared_fit, shared_log, TODAY).slips) <= 1
