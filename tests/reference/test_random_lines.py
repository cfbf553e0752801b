"""Does the random line per group give the published answers, and those of R and of MixedLM?"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from statsmodels.regression.mixed_linear_model import MixedLM

from solespan.forecast.linear.slopes import SlopesModel, SlopesResults


def line(frame: pd.DataFrame, *, reml: bool = True) -> SlopesResults:
    """Fit y ~ x with a random line per group."""
    design = frame[["x"]].assign(one=1.0)[["one", "x"]]
    return SlopesModel(frame["y"], design, frame["group"], frame["x"]).fit(reml=reml)


def mixedlm(frame: pd.DataFrame) -> object:
    """Fit the same model by statsmodels."""
    design = frame[["x"]].assign(one=1.0)[["one", "x"]]
    return MixedLM(frame["y"], design, frame["group"], exog_re=design).fit()


def check(
    fitted: SlopesResults,
    params: list[float],
    sds: list[float],
    correlation: float,
    residual: float,
    *,
    digits: float = 1e-4,
) -> None:
    """Compare with printed values, to a share `digits` of each."""
    assert fitted.converged
    np.testing.assert_allclose(fitted.params, params, rtol=digits)
    np.testing.assert_allclose(fitted.sd_re, sds, rtol=digits)
    assert fitted.corr_re == pytest.approx(correlation, abs=6e-4)
    assert fitted.resid_sd == pytest.approx(residual, rel=digits)


def agree(fitted: SlopesResults, reference: object) -> None:
    """Compare with MixedLM, whose optimum must be the same one."""
    assert reference.converged
    assert fitted.llf == pytest.approx(reference.llf, abs=1e-4)
    np.testing.assert_allclose(fitted.params, reference.fe_params, rtol=1e-4)
    np.testing.assert_allclose(fitted.cov_re, reference.cov_re, rtol=1e-2, atol=1e-3)
    assert fitted.scale == pytest.approx(reference.scale, rel=1e-3)


def test_sleep_deprivation_panel(sleep: pd.DataFrame) -> None:
    """R: lmer(Reaction ~ Days + (Days | Subject), sleepstudy)."""
    fitted = line(sleep)
    check(fitted, [251.405, 10.467], [24.740, 5.922], 0.066, 25.592)
    assert fitted.deviance == pytest.approx(1743.6283, abs=1e-3)  # lme4's REML criterion
    agree(fitted, mixedlm(sleep))


def test_orthodontic_growth(growth: pd.DataFrame) -> None:
    """R nlme 3.1-162: lme(distance ~ age, data = Orthodont, random = ~ age | Subject)."""
    fitted = line(growth)
    check(fitted, [16.76111, 0.660185], [2.3270, 0.22643], -0.609, 1.31004)
    assert fitted.llf == pytest.approx(-221.3183, abs=1e-4)


def test_orthodontic_growth_with_sex_does_not_stop_at_the_false_optimum(
    growth: pd.DataFrame,
) -> None:
    """R: lme(distance ~ I(age - 11) * female, Orthodont, random = ~ I(age - 11) | Subject).

    A single start has been seen to stop at a deviance of 433.43.
    """
    female = growth["group"].str.startswith("F") * 1.0
    age = growth["x"] - 11
    design = pd.DataFrame({"one": 1.0, "age": age, "female": female, "both": age * female})
    fitted = SlopesModel(growth["y"], design, growth["group"], age).fit()
    check(fitted, [24.96875, 0.78438, -2.32102, -0.30483], [1.83033, 0.18034], 0.2064, 1.31004)
    assert fitted.deviance == pytest.approx(432.5817, abs=1e-4)


def test_fatigue_crack_growth_does_not_stop_at_a_false_optimum(fatigue: pd.DataFrame) -> None:
    """R: lmer(log(relLength) ~ cycles + (cycles | Path), nlme::Fatigue): best of three programs.

    lme4 1.1-31 stops silently at -1122.06, MixedLM at -1086.95; lme fails.
    """
    fitted = line(fatigue)
    check(fitted, [-0.02777, 4.59826], [0.006025, 1.07459], -1.0, 0.02294, digits=5e-4)
    assert fitted.deviance == pytest.approx(-1126.7555, abs=1e-3)
    assert fitted.singular


def test_heights_of_oxford_boys(heights: pd.DataFrame) -> None:
    """R: lme(height ~ age, data = Oxboys, random = ~ age | Subject)."""
    fitted = line(heights)
    check(fitted, [149.37175, 6.52547], [8.08108, 1.68072], 0.641, 0.65989)
    assert fitted.llf == pytest.approx(-362.0455, abs=1e-4)


def test_laser_degradation_as_straight_lines(laser: pd.DataFrame) -> None:
    """R: lme(increase ~ kh, random = ~ kh | unit, subset = hours > 0), REML."""
    laser = laser[laser["x"] > 0]
    fitted = line(laser)
    check(fitted, [0.012105, 2.042251], [0.208886, 0.485818], -0.381, 0.180108)
    agree(fitted, mixedlm(laser))


def test_as_many_laser_lines_reach_the_limit_as_lasers_did(laser: pd.DataFrame) -> None:
    """Meeker and Escobar (1998): 3 of the 15 units reach 10 % by 4000 h."""
    reached = laser[laser["x"] == 4.0].set_index("group")["y"] >= 10
    fitted = line(laser)
    ends = fitted.predict([[1.0, 4.0]] * 15, reached.index, [4.0] * 15) >= 10
    assert reached.sum() == 3
    np.testing.assert_array_equal(ends, reached)


@pytest.mark.parametrize(("grams", "power"), [(10, 0.19751), (50, 0.16833), (100, 0.20741)])
def test_sliding_metal_wear_grows_far_slower_than_its_exposure(
    metal: pd.DataFrame, grams: int, power: float
) -> None:
    """R: lm(log(microns) ~ log(cycles)) at one load, 32 rows; same book, sliding metal wear.

    Every unit is read at the same cycles, so the slope with a random level per unit is the same.
    """
    rows = metal[metal["grams"] == grams]
    design = pd.DataFrame({"one": 1.0, "cycles": np.log(rows["cycles"])})
    fitted = SlopesModel(np.log(rows["microns"]), design, rows["unit"]).fit()
    assert fitted.params["cycles"] == pytest.approx(power, abs=1e-4)
    assert fitted.conf_int().loc["cycles", "upper"] < 0.5


class TestBoysShoes:
    """Left and right shoes of ten boys: R lme(wear ~ material, random = ~ 1 | boy), REML."""

    def test_material_effect_and_variances(self, shoes: pd.DataFrame) -> None:
        design = shoes[["is_b"]].assign(a=1.0)[["a", "is_b"]]
        fitted = SlopesModel(shoes["wear"], design, shoes["boy"]).fit()
        np.testing.assert_allclose(fitted.params, [10.630, 0.410], atol=1e-6)
        assert fitted.bse["is_b"] == pytest.approx(0.12243, abs=1e-5)
        assert fitted.cov_re.iloc[0, 0] == pytest.approx(6.1009, abs=1e-3)
        assert fitted.scale == pytest.approx(0.074945, abs=1e-6)
        # The paired t test of the same data, by hand in the book: 3.3489 on 9 degrees of freedom.
        assert fitted.tvalues["is_b"] == pytest.approx(3.3489, abs=1e-4)
        reference = MixedLM(shoes["wear"], design, shoes["boy"]).fit()
        agree(fitted, reference)

    def test_no_side_effect_is_claimed(self, shoes: pd.DataFrame) -> None:
        design = shoes[["is_b", "right"]].assign(a=1.0)
        fitted = SlopesModel(shoes["wear"], design, shoes["boy"]).fit()
        assert fitted.params["right"] == pytest.approx(-0.15952, abs=1e-5)
        assert fitted.bse["right"] == pytest.approx(0.12997, abs=1e-5)
        assert fitted.params["is_b"] == pytest.approx(0.47381, abs=1e-5)
        low, high = fitted.conf_int().loc["right"]
        assert low < 0 < high

    def test_wearers_differ_nine_times_more_than_feet_do(self, shoes: pd.DataFrame) -> None:
        design = shoes[["is_b"]].assign(a=1.0)
        fitted = SlopesModel(np.log(shoes["wear"]), design, shoes["boy"]).fit()
        assert fitted.sd_re["intercept"] == pytest.approx(0.24311, abs=1e-5)
        assert fitted.resid_sd == pytest.approx(0.02645, abs=1e-5)
        assert fitted.params["is_b"] == pytest.approx(0.03706, abs=1e-5)
