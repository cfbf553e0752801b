"""Is the likelihood of random log rates the integral it claims to be, and is its top found?"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.stats import multivariate_normal, norm

from solespan.forecast.errors import BadFrame, FitFailed
from solespan.forecast.linear.exact_rate import ExactRateModel, _Integral


def soles(n_groups: int = 12, seed: int = 3) -> pd.DataFrame:
    """Thickness in mm of simulated shoes: start 5 +- 0.2 mm, 0.02 mm a day with log SD 0.4."""
    rng = np.random.default_rng(seed)
    shoe = np.repeat(np.arange(n_groups), rng.integers(1, 7, n_groups))
    days = rng.uniform(0, 120, len(shoe))
    start, log_rate = rng.normal(5, 0.2, n_groups), rng.normal(np.log(0.02), 0.4, n_groups)
    left_mm = start[shoe] - np.exp(log_rate[shoe]) * days + rng.normal(0, 0.1, len(shoe))
    return pd.DataFrame({"left_mm": left_mm, "days": days, "shoe": shoe})


def model(frame: pd.DataFrame, **options: bool) -> ExactRateModel:
    return ExactRateModel(frame["left_mm"], frame["days"], frame["shoe"], **options)


THETA = np.array([4.9, np.log(0.022), np.log(0.25), np.log(0.35), np.log(0.12)])


def test_likelihood_is_the_integral_over_rates_of_the_normal_density() -> None:
    frame = soles(n_groups=6)
    start, log_rate = THETA[:2]
    sd_start, sd_log_rate, resid_sd = np.exp(THETA[2:])
    total = 0.0
    for _, rows in frame.groupby("shoe"):
        n = len(rows)
        cov = sd_start**2 * np.ones((n, n)) + resid_sd**2 * np.eye(n)

        rates = log_rate + sd_log_rate * np.linspace(-8, 8, 4001)
        off = rows["left_mm"].to_numpy() - start + np.exp(rates)[:, None] * rows["days"].to_numpy()
        density = multivariate_normal(np.zeros(n), cov).pdf(off).reshape(-1)
        prior = norm(log_rate, sd_log_rate).pdf(rates)
        total += np.log(np.trapezoid(density * prior, rates))
    ours = model(frame)
    assert _Integral(ours._sums, ours._count, THETA).llf == pytest.approx(total, abs=1e-8)


def test_gradient_is_that_of_finite_differences() -> None:
    ours = model(soles())
    point = _Integral(ours._sums, ours._count, THETA)
    by_value = [
        (
            _Integral(ours._sums, ours._count, THETA + h).llf
            - _Integral(ours._sums, ours._count, THETA - h).llf
        )
        / 2e-5
        for h in 1e-5 * np.eye(5)
    ]
    np.testing.assert_allclose(point.gradient, by_value, rtol=1e-6, atol=1e-5)


def test_simulated_parameters_lie_within_three_standard_errors() -> None:
    fitted = model(soles(n_groups=150, seed=8)).fit()
    truth = pd.Series(
        {
            "start": 5.0,
            "log_rate": np.log(0.02),
            "sd_start": 0.2,
            "sd_log_rate": 0.4,
            "resid_sd": 0.1,
        }
    )
    assert fitted.converged
    assert ((fitted.params - truth).abs() < 3 * fitted.bse).all()
    assert (fitted.log_rates["sd"] <= fitted.params["sd_log_rate"] * 1.5).all()


def test_order_of_rows_does_not_matter_and_a_gap_is_left_out() -> None:
    frame = soles()
    one = model(frame).fit()
    gap = pd.DataFrame({"left_mm": [np.nan], "days": [50.0], "shoe": [3]})
    other = model(pd.concat([frame, gap]).sample(frac=1.0, random_state=1)).fit()
    assert other.n_dropped == 1
    assert other.llf == pytest.approx(one.llf, abs=1e-8)
    np.testing.assert_allclose(one.params, other.params, rtol=1e-5)
    np.testing.assert_allclose(one.log_rates, other.log_rates.loc[one.log_rates.index], rtol=1e-4)


def test_the_summary_says_counts_and_state() -> None:
    text = model(soles()).fit().summary()
    for part in ("converged", "12 groups", "sd_log_rate"):
        assert part in text


def test_what_grows_with_exposure_is_refused() -> None:
    frame = soles()
    frame["left_mm"] *= -1
    with pytest.raises(FitFailed, match="does not fall with exposure"):
        model(frame).fit()


def test_one_group_is_refused() -> None:
    with pytest.raises(BadFrame, match="one group"):
        model(soles().assign(shoe=1))
