"""Does the engine's fast posterior agree with one that a sampler took its time over?

The reference in `tests/reference/nuts` was drawn by the No-U-Turn sampler (Hoffman and Gelman,
JMLR 15:1593, 2014; NumPyro's) from the same model without the engine's approximations; its
`result.json` says how, and its scripts make it again.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.reference.nuts.compare import Differences, Sampled, differences, sampled
from tests.reference.nuts.engine_answers import (
    EngineAnswers,
    calendar_days,
    due_scores,
    engine_answers,
)
from tests.reference.nuts.rack_room import RackRoom, fingerprint, rack_room

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def room() -> RackRoom:
    return rack_room()


@pytest.fixture(scope="module")
def truth() -> Sampled:
    return sampled()


@pytest.fixture(scope="module")
def answers(room: RackRoom) -> EngineAnswers:
    return engine_answers(room)


@pytest.fixture(scope="module")
def apart(answers: EngineAnswers, truth: Sampled) -> Differences:
    return differences(answers, truth)


@pytest.fixture(scope="module")
def gauged(apart: Differences) -> np.ndarray:
    return apart.gauged


def _size(values: np.ndarray, share: float = 0.5) -> float:
    return float(np.nanquantile(np.abs(values), share))


def test_the_simulator_still_draws_the_panel_that_was_sampled(
    room: RackRoom, truth: Sampled
) -> None:
    """If not, the reference has to be sampled again: `tests/reference/nuts/sample.py` says how."""
    assert truth.result["panel"] == fingerprint(room)


def test_the_sampler_had_converged(truth: Sampled) -> None:
    """Bars of Vehtari et al., Bayesian Analysis 16:667 (2021): R-hat to 1.01, 400 draws' worth."""
    found = truth.result["convergence"]
    assert found["divergences"] == 0
    assert min(found["energy_fraction"]) > 0.3
    for what in (
        "log_rate",
        "log_wear",
        "end_mm",
        "population",
        "log_spreads",
        "log_gauge_sds",
        "log_process",
    ):
        assert found[f"{what}_rhat_most"] <= 1.01
        assert found[f"{what}_ess_least"] >= 400


def test_mean_log_rates_are_as_sampled(apart: Differences) -> None:
    """Within a tenth of a sampled SD for the most part; rates trade with the kinds of days."""
    off = np.abs(apart.rate_in_sd)
    assert np.mean(off <= 0.1) >= 0.7
    assert np.median(off) <= 0.06
    assert off.max() <= 0.5


def test_wear_that_a_gauge_followed_is_as_sampled(apart: Differences, gauged: np.ndarray) -> None:
    """Rate times exposure: what a gauge sees."""
    assert _size(apart.wear_in_sd[gauged]) <= 0.08
    assert _size(apart.wear_in_sd[gauged], 0.9) <= 0.2


def test_wear_that_only_a_thumb_followed_is_as_sampled(
    apart: Differences, gauged: np.ndarray
) -> None:
    assert _size(apart.wear_in_sd[~gauged], 0.9) <= 0.12
    assert abs(np.mean(apart.wear_in_sd[~gauged])) <= 0.05


def test_rates_are_as_uncertain_as_sampled(apart: Differences) -> None:
    for ratio in (apart.rate_sd_ratio, apart.wear_sd_ratio):
        assert np.median(ratio) == pytest.approx(1.0, abs=0.05)
        assert np.quantile(ratio, 0.05) >= 0.85
        assert np.quantile(ratio, 0.95) <= 1.15


def test_spreads_are_within_a_tenth_or_within_what_is_known_of_them(apart: Differences) -> None:
    for name, ratio in apart.spread_ratio.items():
        assert abs(ratio - 1.0) <= 0.10 or abs(apart.spread_in_sd[name]) <= 0.75, name


def test_wear_days_left_are_within_three_percent(apart: Differences) -> None:
    """Quantiles 10, 50 and 90 % of the pairs, apart by whether a gauge followed them."""
    for pairs in (apart.gauged_pairs, ~apart.gauged_pairs):
        left = apart.left[pairs]
        assert (np.nanquantile(np.abs(left), 0.5, axis=0) <= 0.03).all()
        assert (np.abs(np.nanmean(left, axis=0)) <= 0.03).all()
        assert _size(left[:, 1], 0.9) <= 0.05


def test_dates_score_no_worse_than_those_sampled(
    room: RackRoom, answers: EngineAnswers, truth: Sampled
) -> None:
    """CRPS against the days on which the simulated soles were due, the same use for both."""
    scores = due_scores(room, answers, calendar_days(answers, answers.remaining))
    assert scores.mean() <= 1.03 * truth.result["scores"]["crps_sampler_days"]
