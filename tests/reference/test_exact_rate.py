"""Does the exact likelihood of random log rates give the reference answers?

Reference: exact maximum likelihood, a integrated in closed form and l by a 61-point adaptive
Gauss-Hermite rule, agreed with a dense grid to 1e-7; not from print.
"""

from __future__ import annotations

import pandas as pd
import pytest

from solespan.forecast.linear.exact_rate import ExactRateModel, ExactRateResults


def check(fitted: ExactRateResults, expected: dict[str, float], llf: float) -> None:
    assert fitted.converged
    assert fitted.llf == pytest.approx(llf, abs=1e-5)
    assert fitted.params.to_dict() == pytest.approx(expected, rel=1e-5, abs=1e-5)


def test_lasers_with_start_and_rate_random(laser: pd.DataFrame) -> None:
    fitted = ExactRateModel(-laser["y"], laser["x"], laser["group"]).fit()
    expected = {
        "start": -0.0095917,
        "log_rate": 0.6914119,
        "sd_start": 0.1496370,
        "sd_log_rate": 0.2103599,
        "resid_sd": 0.1813703,
    }
    check(fitted, expected, 16.1459513)


def test_lasers_are_close_to_the_linearised_fit_of_nlme(laser: pd.DataFrame) -> None:
    """R: nlme(y ~ a - exp(l) * x, fixed = a + l ~ 1, random = list(unit = pdDiag(a + l ~ 1)),

    start = c(a = 0, l = log(2.04))), with y = -increase and x in thousands of hours.
    """
    fitted = ExactRateModel(-laser["y"], laser["x"], laser["group"]).fit()
    assert fitted.params["log_rate"] == pytest.approx(0.6919009, abs=0.003)
    spreads = fitted.params[["sd_start", "sd_log_rate", "resid_sd"]]
    assert spreads.tolist() == pytest.approx([0.1495461, 0.2101942, 0.1813815], rel=0.01)
    assert fitted.llf > 16.1448601


def test_lasers_with_only_the_rate_random(laser: pd.DataFrame) -> None:
    fitted = ExactRateModel(-laser["y"], laser["x"], laser["group"], random_start=False).fit()
    expected = {
        "start": -0.0096148,
        "log_rate": 0.6926755,
        "sd_log_rate": 0.2043018,
        "resid_sd": 0.1988387,
    }
    check(fitted, expected, 5.2098310)


def test_heights_of_oxford_boys_in_the_same_form(heights: pd.DataFrame) -> None:
    fitted = ExactRateModel(-heights["y"], heights["x"], heights["group"]).fit()
    expected = {
        "start": -149.3717355,
        "log_rate": 1.8419925,
        "sd_start": 7.9250180,
        "sd_log_rate": 0.2649822,
        "resid_sd": 0.6599733,
    }
    check(fitted, expected, -370.0253532)
