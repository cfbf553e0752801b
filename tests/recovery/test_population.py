"""Do the population's intervals hold what is true at the rate they promise?

Worlds whose owners write down every wear day, its hours and its ground, so that what the model
calls a standard wear day is what the world calls one.
"""

from __future__ import annotations

import multiprocessing
from concurrent.futures import ProcessPoolExecutor

import numpy as np
import pandas as pd
import pytest

from solespan.forecast import WearFit, WearModel
from solespan.synthetic_data import Simulated, world
from solespan.synthetic_data.wearing import DRIVES_SHARE
from tests.recovery.harness import log_of

SEEDS = range(301, 309)
PAIRS = 300
MATERIAL = "material_"
DO_NOT_PACK = ("material_rubber", "material_studded_rubber", "heel")


def truths(drawn: Simulated) -> dict[str, float]:
    """True values of the population's unknowns, by the model's names.

    A material stands for the level and the material together. A foot's turning on the car's floor
    and its minutes at the wheel act on the same foot, so the driving foot's effect is both.
    """
    truth = drawn.truth
    days = drawn.hidden_wear
    hours = days.loc[days["driving_minutes"] > 0, "driving_minutes"].mean() / 60.0
    at_the_wheel = np.log1p(truth.driving_per_hour * hours * DRIVES_SHARE)
    return {
        **{MATERIAL + name: np.log(truth.rate_mm * f) for name, f in truth.material_factors},
        "toe": np.log(truth.toe_factor),
        "heel": np.log(truth.heel_rate_mm),
        "drive_ball": truth.driving_ball + at_the_wheel,
        "drive_heel": truth.driving_heel + at_the_wheel,
        "log_wet": np.log(truth.wet_factor),
        "log_indoor": np.log(truth.indoor_factor),
        "log_rough": np.log(truth.rough_factor),
    }


def estimated(fit: WearFit, name: str) -> tuple[float, float]:
    """Posterior mean and SD of one unknown; a material's with the level added."""
    names = list(fit.names)
    pick = np.zeros(len(names))
    pick[names.index(name)] = 1.0
    if name.startswith(MATERIAL):
        pick[names.index("level")] = 1.0
    return float(pick @ fit.mean), float(np.sqrt(pick @ fit.cov @ pick))


def one_world(seed: int) -> tuple[pd.DataFrame, pd.Series]:
    """Standardised errors of the population's unknowns, and spreads over their true values."""
    drawn = world("plain_logging", seed, n_pairs=PAIRS, horizon_days=0)
    fit = WearModel(log_of(drawn), drawn.as_of).fit()
    rows = []
    for name, true in truths(drawn).items():
        if name in fit.names:
            mean, sd = estimated(fit, name)
            rows.append((seed, name, mean, sd, true, (mean - true) / sd))
    t, sd = drawn.truth, fit.spread
    spreads = {
        "wearer": sd["wearer"] / t.sd_wearer,
        "pair": np.hypot(sd["pair"], sd["sole"]) / t.sd_pair,
        "caliper": fit.noise.gauge_sd_mm[0] / t.sd_caliper_mm,
    }
    columns = ["seed", "name", "mean", "sd", "true", "z"]
    return pd.DataFrame(rows, columns=columns), pd.Series(spreads, name=seed)


@pytest.fixture(scope="module")
def recovered() -> tuple[pd.DataFrame, pd.DataFrame]:
    with ProcessPoolExecutor(2, mp_context=multiprocessing.get_context("spawn")) as pool:
        found = list(pool.map(one_world, SEEDS))
    return pd.concat([f for f, _ in found], ignore_index=True), pd.DataFrame([s for _, s in found])


def holds_as_often_as_it_says(rows: pd.DataFrame) -> None:
    """At 95 %, within two binomial errors; worlds are few, so this is about gross faults."""
    held = float((rows["z"].abs() < 1.96).mean())
    assert held >= 0.95 - 2.0 * np.sqrt(0.95 * 0.05 / len(rows)), rows.groupby("name")["z"].mean()
    mean = rows.groupby("name")["z"].mean()
    assert (mean.abs() < 4.0 / np.sqrt(len(SEEDS))).all(), mean.round(2).to_dict()


@pytest.mark.slow
def test_leathers_ground_and_driving_foot_lie_within_their_intervals(
    recovered: tuple[pd.DataFrame, pd.DataFrame],
) -> None:
    rows = recovered[0]
    rows = rows[~rows["name"].isin(DO_NOT_PACK)]
    assert rows["name"].nunique() >= 8
    holds_as_often_as_it_says(rows)


@pytest.mark.slow
def test_what_does_not_pack_lies_within_its_intervals(
    recovered: tuple[pd.DataFrame, pd.DataFrame],
) -> None:
    """Rubber soles and top pieces lose nothing in their first days, there as in the model."""
    rows = recovered[0]
    holds_as_often_as_it_says(rows[rows["name"].isin(DO_NOT_PACK)])


@pytest.mark.slow
def test_spreads_come_near_to_the_true_ones(
    recovered: tuple[pd.DataFrame, pd.DataFrame],
) -> None:
    middle = recovered[1].median()
    assert middle["wearer"] == pytest.approx(1.0, abs=0.2)
    assert middle["pair"] == pytest.approx(1.0, abs=0.3)
    assert middle["caliper"] == pytest.approx(1.0, abs=0.15)
