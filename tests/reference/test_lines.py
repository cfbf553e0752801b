"""Does the engine that forecasts give the published answers of linear mixed models?

Each is a special case of the nested model (`tests.reference.nested_fit` says how): rates that
hardly differ from a steep common line, no packing, no thumb, no slips, flat priors, REML. MixedLM's
likelihood, an independent program's, must say the same of the engine's answer, and find no better
one beside it.
"""

from __future__ import annotations

import warnings

import numpy as np
import pandas as pd
import pytest
from statsmodels.regression.mixed_linear_model import MixedLM, MixedLMParams

from tests.reference.nested_fit import LineFit, Lines, fit_ml

PRINTED = 1e-4  # of a printed value, which is rounded
EXACT = 1e-5


def check(
    fit: LineFit,
    params: list[float],
    sds: list[float],
    correlation: float,
    residual: float,
    *,
    digits: float = PRINTED,
) -> None:
    """Compare with printed values, to a share `digits` of each."""
    assert fit.found.converged
    assert [fit.intercept, fit.slope] == pytest.approx(params, rel=digits)
    assert [fit.sd_intercept, fit.sd_slope] == pytest.approx(sds, rel=digits)
    assert fit.correlation == pytest.approx(correlation, abs=6e-4)
    assert fit.found.resid == pytest.approx(residual, rel=digits)


def agree(fit: LineFit, *, digits: float = EXACT) -> None:
    """Ask MixedLM of the engine's answer, and for its own from there on."""
    frame = fit.lines.frame
    design = frame[["x"]].assign(one=1.0)[["one", "x"]]
    model = MixedLM(frame["y"], design, frame["group"], exog_re=design)
    fixed = np.array([fit.intercept, fit.slope])
    here = MixedLMParams.from_components(fixed, cov_re=fit.covariance / fit.found.resid**2)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of an optimum on the edge, and of no way further up
        own = model.fit(start_params=here, method="bfgs", gtol=1e-9)
    assert model.loglike(here, profile_fe=False) == pytest.approx(fit.llf, abs=EXACT)
    assert own.llf == pytest.approx(fit.llf, abs=EXACT)
    assert fixed == pytest.approx(own.fe_params.to_numpy(), rel=EXACT)
    sds = np.sqrt(np.diag(own.cov_re))
    assert [fit.sd_intercept, fit.sd_slope] == pytest.approx(sds.tolist(), rel=digits)
    assert fit.found.resid == pytest.approx(np.sqrt(own.scale), rel=digits)


def test_sleep_deprivation_panel(sleep: pd.DataFrame) -> None:
    """R: lmer(Reaction ~ Days + (Days | Subject), sleepstudy)."""
    fit = Lines(sleep, (250.0, 10.0), 20.0, 5.0, 20.0).best(-1.0, 1.0)
    check(fit, [251.405, 10.467], [24.740, 5.922], 0.066, 25.592)
    assert -2.0 * fit.llf == pytest.approx(1743.6283, abs=1e-4)  # lme4's REML criterion
    agree(fit)


@pytest.mark.slow
def test_orthodontic_growth(growth: pd.DataFrame) -> None:
    """R nlme 3.1-162: lme(distance ~ age, data = Orthodont, random = ~ age | Subject)."""
    fit = Lines(growth, (17.0, 0.6), 2.0, 0.2, 1.0).best(4.0, 8.0)
    check(fit, [16.76111, 0.660185], [2.3270, 0.22643], -0.609, 1.31004)
    assert fit.llf == pytest.approx(-221.3183, abs=1e-4)
    agree(fit)


@pytest.mark.slow
def test_orthodontic_growth_with_sex_does_not_stop_at_the_false_optimum(
    growth: pd.DataFrame,
) -> None:
    """R: lme(distance ~ I(age - 11) * female, Orthodont, random = ~ I(age - 11) | Subject).

    Searches have been seen to stop at a deviance of 433.43. The boys' step of level is
    exposure at the wheel, the girls' other slope an effect of their shoes.
    """
    girl = growth["group"].str.startswith("F") * 1.0
    frame = growth.assign(x=growth["x"] - 11.0, extra=1.0 - girl, drives=girl)
    lines = Lines(frame, (24.0, 0.6), 2.0, 0.2, 1.0, steps={"log_driving": 2.0, "drive_ball": 0.2})
    fit = lines.best(-5.0, 0.0)
    interaction, at = fit.step("drive_ball"), fit.origin
    boys = fit.intercept + fit.step("log_driving")
    female = -fit.step("log_driving") - interaction * at
    assert fit.found.converged
    assert [boys, fit.slope] == pytest.approx([24.96875, 0.78438], rel=PRINTED)
    assert [female, interaction] == pytest.approx([-2.32102, -0.30483], rel=PRINTED)
    assert [fit.sd_intercept, fit.sd_slope] == pytest.approx([1.83033, 0.18034], rel=PRINTED)
    assert fit.correlation == pytest.approx(0.2064, abs=PRINTED)
    assert fit.found.resid == pytest.approx(1.31004, rel=PRINTED)
    assert -2.0 * fit.llf == pytest.approx(432.5817, abs=1e-4)


@pytest.mark.slow
def test_fatigue_crack_growth_does_not_stop_at_a_false_optimum(fatigue: pd.DataFrame) -> None:
    """R: lmer(log(relLength) ~ cycles + (cycles | Path), nlme::Fatigue): best of three programs.

    lme4 1.1-31 stops silently at -1122.06, MixedLM at -1086.95; lme fails. The first is where
    intercept and slope are independent: the whole of it lies in the origin.
    """
    lines = Lines(fatigue, (0.0, 4.0), 0.01, 1.0, 0.02)
    fit = lines.best(-0.01, 0.02)
    check(fit, [-0.02777, 4.59826], [0.006025, 1.07459], -1.0, 0.02294, digits=5e-4)
    assert -2.0 * fit.llf == pytest.approx(-1126.7555, abs=1e-4)
    agree(fit, digits=1e-4)  # on the edge, where the likelihood is flat
    assert -2.0 * lines.at(0.0).llf == pytest.approx(-1122.06, abs=0.005)


def test_heights_of_oxford_boys(heights: pd.DataFrame) -> None:
    """R: lme(height ~ age, data = Oxboys, random = ~ age | Subject)."""
    fit = Lines(heights, (149.0, 6.5), 8.0, 1.5, 0.6).best(-5.0, -1.0)
    check(fit, [149.37175, 6.52547], [8.08108, 1.68072], 0.641, 0.65989)
    assert fit.llf == pytest.approx(-362.0455, abs=1e-4)
    agree(fit)


def test_laser_degradation_as_straight_lines(laser: pd.DataFrame) -> None:
    """R: lme(increase ~ kh, random = ~ kh | unit, subset = hours > 0), REML."""
    fit = Lines(laser[laser["x"] > 0], (0.0, 2.0), 0.2, 0.5, 0.2).best(-0.5, 0.5)
    check(fit, [0.012105, 2.042251], [0.208886, 0.485818], -0.381, 0.180108)
    agree(fit)


def test_as_many_laser_lines_reach_the_limit_as_lasers_did(laser: pd.DataFrame) -> None:
    """Meeker and Escobar (1998): 3 of the 15 units reach 10 % by 4000 h."""
    fit = Lines(laser, (0.0, 2.0), 0.2, 0.5, 0.2).best(-0.5, 0.5)
    last = laser[laser["x"] == 4.0]
    assert (last["y"] >= 10.0).sum() == 3
    np.testing.assert_array_equal(fit.fitted[last.index] >= 10.0, last["y"] >= 10.0)


def test_laser_increase_at_4000_hours_per_thousand(laser: pd.DataFrame) -> None:
    """Same book: mean 2.03791, SD 0.46714 % per 1000 h, mean life about 4907 h to 10 %."""
    last = laser[laser["x"] == 4.0]
    fit = Lines(last, (0.0, 2.0), 0.0, 0.5, 1e-6, intercept=False, residual_held=True).at()
    assert fit.slope == pytest.approx(2.03791, abs=5e-6)
    assert fit.sd_slope == pytest.approx(0.46714, abs=5e-6)
    assert 10.0 / fit.slope == pytest.approx(4.907, abs=5e-4)


@pytest.mark.parametrize(("grams", "power"), [(10, 0.19751), (50, 0.16833), (100, 0.20741)])
def test_sliding_metal_wear_grows_far_slower_than_its_exposure(
    metal: pd.DataFrame, grams: int, power: float
) -> None:
    """R: lm(log(microns) ~ log(cycles)) at one load, 32 rows; same book, sliding metal wear.

    Every unit is read at the same cycles, so the slope with a random level per unit is the same.
    That such wear is flagged as no line: `tests/forecast/test_diagnostics.py`.
    """
    rows = metal[metal["grams"] == grams]
    rows = rows.assign(x=np.log(rows["cycles"]), y=np.log(rows["microns"]), group=rows["unit"])
    fit = Lines(rows, (0.0, 0.2), 0.1, 0.0, 0.1).at()
    assert fit.slope == pytest.approx(power, abs=EXACT)
    assert fit.slope + 2.0 * fit.slope_se < 0.5


class TestOrangeTrees:
    """R: nlme(circumference ~ SSlogis(age, Asym, xmid, scal), random = Asym ~ 1), ML.

    A tree's asymptote multiplies a logistic curve of age, so it is a rate and the curve its
    exposure; the curve's two shape parameters are no unknowns of the engine and are searched.
    """

    XMID, SCAL = 722.56, 344.17

    def fit(self, oranges: pd.DataFrame, xmid: float, scal: float) -> LineFit:
        """Fit asymptotes given the curve."""
        frame = oranges.assign(x=1.0 / (1.0 + np.exp((xmid - oranges["age"]) / scal)))
        return Lines(frame, (0.0, 190.0), 0.0, 30.0, 8.0, intercept=False).at(fit=fit_ml)

    def test_given_the_curve_of_nlme_its_answer_is_found(self, oranges: pd.DataFrame) -> None:
        fit = self.fit(oranges, self.XMID, self.SCAL)
        assert fit.slope == pytest.approx(191.05, abs=0.005)
        assert fit.sd_slope == pytest.approx(31.483, abs=5e-4)
        assert fit.found.resid == pytest.approx(7.846, abs=5e-4)
        assert fit.llf == pytest.approx(-131.5846, abs=1e-4)

    def test_the_best_curve_is_a_little_better_than_that_of_nlme(
        self, oranges: pd.DataFrame
    ) -> None:
        """lme4's nlmer ends at 727.90 and 348.07 (from memory), where nothing near is better."""
        best = self.fit(oranges, 727.90, 348.07).llf
        assert best == pytest.approx(-131.5719, abs=1e-4)
        for xmid, scal in ((722.0, 348.07), (734.0, 348.07), (727.90, 344.0), (727.90, 352.0)):
            assert self.fit(oranges, xmid, scal).llf < best


class TestBoysShoes:
    """Left and right shoes of ten boys, all worn alike: wear is the rate at one unit of exposure.

    The boy is the wearer; a shoe of material B has the other material, a right shoe the effect of
    a driving foot. R: lme(wear ~ material, random = ~ 1 | boy), REML.
    """

    def fit(self, shoes: pd.DataFrame, **steps: float) -> LineFit:
        """Fit boy, material and more."""
        frame = shoes.assign(x=1.0, y=shoes["wear"], group=shoes["boy"], wearer=shoes["boy"])
        frame = frame.assign(other=shoes["is_b"], drives=shoes["right"])
        steps = {"material_rubber": 0.5} | steps
        lines = Lines(
            frame, (0.0, 10.0), 0.0, 2.0, 0.3, sloped="wearer", steps=steps, intercept=False
        )
        return lines.at()

    def test_material_effect_and_variances(self, shoes: pd.DataFrame) -> None:
        fit = self.fit(shoes)
        assert fit.found.converged
        assert fit.slope == pytest.approx(10.630, rel=1e-6)
        assert fit.step("material_rubber") == pytest.approx(0.410, abs=1e-5)
        assert fit.step_se("material_rubber") == pytest.approx(0.12243, abs=1e-5)
        assert fit.sd_slope**2 == pytest.approx(6.1009, abs=1e-4)
        assert fit.found.resid**2 == pytest.approx(0.074945, abs=1e-6)
        # The paired t test of the same data, by hand in the book: 3.3489 on 9 degrees of freedom.
        t = fit.step("material_rubber") / fit.step_se("material_rubber")
        assert t == pytest.approx(3.3489, abs=1e-4)
        design = shoes[["is_b"]].assign(a=1.0)[["a", "is_b"]]
        own = MixedLM(shoes["wear"], design, shoes["boy"]).fit(method="bfgs", gtol=1e-9)
        assert fit.llf == pytest.approx(own.llf, abs=EXACT)
        assert fit.sd_slope == pytest.approx(np.sqrt(own.cov_re.iloc[0, 0]), rel=EXACT)
        assert fit.found.resid == pytest.approx(np.sqrt(own.scale), rel=EXACT)

    def test_no_side_effect_is_claimed(self, shoes: pd.DataFrame) -> None:
        fit = self.fit(shoes, drive_ball=0.2)
        right, se = fit.step("drive_ball"), fit.step_se("drive_ball")
        assert right == pytest.approx(-0.15952, abs=1e-5)
        assert se == pytest.approx(0.12997, abs=1e-5)
        assert fit.step("material_rubber") == pytest.approx(0.47381, abs=1e-5)
        assert right - 1.96 * se < 0.0 < right + 1.96 * se
