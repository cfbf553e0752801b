"""Does the random line per group agree with a dense computation, with itself, and with MixedLM?"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.stats import multivariate_normal
from statsmodels.regression.mixed_linear_model import MixedLM

from solespan.forecast.errors import BadFrame, FitFailed
from solespan.forecast.linear.likelihood import Deviance
from solespan.forecast.linear.slopes import SlopesModel, SlopesResults


def soles(n_groups: int = 40, seed: int = 7, *, even: bool = False) -> pd.DataFrame:
    """Thickness in mm of simulated shoes at a few wear days each; sd 0.2 mm, 0.008 mm per day."""
    rng = np.random.default_rng(seed)
    count = np.full(n_groups, 5) if even else rng.integers(1, 8, n_groups)
    shoe = np.repeat(np.arange(n_groups), count)
    days = np.tile(np.arange(5) * 20.0, n_groups) if even else rng.uniform(0, 100, len(shoe))
    start, rate = rng.normal(0, 0.2, n_groups), rng.normal(0, 0.008, n_groups)
    left_mm = 5 + start[shoe] - (0.02 + rate[shoe]) * days + rng.normal(0, 0.1, len(shoe))
    frame = pd.DataFrame({"left_mm": left_mm, "one": 1.0, "days": days, "shoe": shoe})
    frame["wet_share"] = rng.uniform(0, 1, len(shoe))
    return frame


def fit(frame: pd.DataFrame, *, reml: bool = True, **options: bool) -> SlopesResults:
    design = frame[["one", "days", "wet_share"]]
    model = SlopesModel(frame["left_mm"], design, frame["shoe"], frame["days"], **options)
    return model.fit(reml=reml)


def covariance_of_rows(frame: pd.DataFrame, fitted: SlopesResults) -> np.ndarray:
    """Write out the n by n covariance that a fit implies."""
    columns = {"intercept": frame["one"], "slope": frame["days"]}
    z = np.column_stack([columns[name] for name in fitted.cov_re.index])
    same = frame["shoe"].to_numpy()[:, None] == frame["shoe"].to_numpy()
    return (z @ fitted.cov_re.to_numpy() @ z.T) * same + fitted.scale * np.eye(len(frame))


@pytest.mark.parametrize("correlated", [True, False])
@pytest.mark.parametrize("even", [True, False])
def test_likelihood_is_that_of_the_normal_density_with_the_fitted_covariance(
    even: bool, correlated: bool
) -> None:
    frame = soles(even=even)
    fitted = fit(frame, reml=False, correlated=correlated)
    x = frame[["one", "days", "wet_share"]].to_numpy()
    dense = multivariate_normal(x @ fitted.params, covariance_of_rows(frame, fitted))
    assert fitted.llf == pytest.approx(dense.logpdf(frame["left_mm"]), abs=1e-7)


def test_fixed_effects_and_lines_are_those_of_generalised_least_squares() -> None:
    frame = soles()
    fitted = fit(frame)
    x = frame[["one", "days", "wet_share"]].to_numpy()
    z = frame[["one", "days"]].to_numpy()
    precision = np.linalg.inv(covariance_of_rows(frame, fitted))
    cov = np.linalg.inv(x.T @ precision @ x)
    beta = cov @ x.T @ precision @ frame["left_mm"].to_numpy()
    np.testing.assert_allclose(fitted.params, beta, rtol=1e-9)
    np.testing.assert_allclose(fitted.bse, np.sqrt(np.diag(cov)), rtol=1e-9)
    residual = frame["left_mm"].to_numpy() - x @ beta
    g = fitted.cov_re.to_numpy()
    for shoe, line in fitted.random_effects.iterrows():
        own = (frame["shoe"] == shoe).to_numpy()
        gain = g @ z[own].T @ precision[np.ix_(own, own)]
        np.testing.assert_allclose(line[["intercept", "slope"]], gain @ residual[own], atol=1e-9)
        spread = g - gain @ z[own] @ g
        seen = line[["var_intercept", "cov_intercept_slope", "var_slope"]]
        np.testing.assert_allclose(seen, spread[[0, 0, 1], [0, 1, 1]], atol=1e-9)


@pytest.mark.parametrize("reml", [True, False])
@pytest.mark.parametrize("free", [(0, 1, 2), (0, 2), (0,)])
@pytest.mark.parametrize("even", [True, False])
def test_derivatives_are_those_of_finite_differences(
    even: bool, free: tuple[int, ...], reml: bool
) -> None:
    frame = soles(even=even)
    design = frame[["one", "days", "wet_share"]]
    model = SlopesModel(frame["left_mm"], design, frame["shoe"], frame["days"])
    deviance = Deviance(model._sums, free, reml=reml)
    theta = np.array([1.3, -0.4, 0.9])[list(free)]
    point = deviance(theta)
    steps = 1e-5 * np.eye(len(free))
    ahead, behind = [deviance(theta + h) for h in steps], [deviance(theta - h) for h in steps]
    by_value = [(a.value - b.value) / 2e-5 for a, b in zip(ahead, behind, strict=True)]
    by_gradient = [(a.gradient - b.gradient) / 2e-5 for a, b in zip(ahead, behind, strict=True)]
    np.testing.assert_allclose(point.gradient, by_value, rtol=1e-6, atol=1e-4)
    np.testing.assert_allclose(point.hessian, by_gradient, rtol=1e-5, atol=1e-4)


@pytest.mark.parametrize("options", [{}, {"correlated": False}, {"random_intercept": False}])
def test_order_of_rows_and_names_of_groups_do_not_matter(options: dict[str, bool]) -> None:
    frame = soles()
    shuffled = frame.sample(frac=1.0, random_state=3)
    shuffled["shoe"] = "s" + shuffled["shoe"].astype(str)
    one, other = fit(frame, **options), fit(shuffled, **options)
    np.testing.assert_allclose(one.params, other.params, rtol=1e-7)
    np.testing.assert_allclose(one.cov_re, other.cov_re, rtol=1e-5)
    assert one.llf == pytest.approx(other.llf, abs=1e-8)
    there = other.random_effects.loc["s" + one.labels.astype(str)]
    np.testing.assert_allclose(one.random_effects, there, rtol=1e-4, atol=1e-8)


def test_moving_and_scaling_the_covariate_only_moves_and_scales_the_answer() -> None:
    frame = soles()
    moved = frame.assign(days=frame["days"] / 7 + 20_000)
    one, other = fit(frame), fit(moved)
    assert one.params["days"] == pytest.approx(other.params["days"] / 7, rel=1e-6)
    assert one.sd_re["slope"] == pytest.approx(other.sd_re["slope"] / 7, rel=1e-5)
    back = np.array([[1.0, 20_000.0], [0.0, 1 / 7]])
    np.testing.assert_allclose(back @ other.cov_re @ back.T, one.cov_re, rtol=1e-4, atol=1e-9)
    assert one.resid_sd == pytest.approx(other.resid_sd, rel=1e-6)


def test_a_large_offset_of_the_response_costs_no_digits() -> None:
    frame = soles()
    one, other = fit(frame), fit(frame.assign(left_mm=frame["left_mm"] + 1e6))
    assert other.resid_sd == pytest.approx(one.resid_sd, rel=1e-6)
    np.testing.assert_allclose(other.cov_re, one.cov_re, rtol=1e-4)


def test_groups_on_one_schedule_fit_as_they_would_one_by_one() -> None:
    frame = soles(n_groups=300, even=True)
    nudged = frame.assign(days=frame["days"] + 1e-9 * np.arange(len(frame)))
    one, other = fit(frame), fit(nudged)
    np.testing.assert_allclose(one.params, other.params, rtol=1e-7)
    np.testing.assert_allclose(one.cov_re, other.cov_re, rtol=1e-5)
    assert one.llf == pytest.approx(other.llf, abs=1e-5)


def test_many_groups_searched_on_a_sample_end_where_all_of_them_say() -> None:
    frame = soles(n_groups=3000, seed=2)
    fitted = fit(frame)
    assert fitted.converged
    np.testing.assert_allclose(fitted.sd_re, [0.2, 0.008], rtol=0.05)
    assert fitted.resid_sd == pytest.approx(0.1, rel=0.05)
    below = fit(frame[frame["shoe"] < 1000])
    assert not np.allclose(below.cov_re, fitted.cov_re, rtol=1e-6)


def test_no_covariance_tried_at_random_beats_the_one_found() -> None:
    rng = np.random.default_rng(11)
    for trial in range(8):
        n_groups = int(rng.integers(3, 9))
        shoe = np.repeat(np.arange(n_groups), rng.integers(2, 6, n_groups))
        days = rng.uniform(0, 1, len(shoe)) + rng.choice([0.0, 5.0])
        own = rng.normal(size=(n_groups, 2)) * rng.choice([0.0, 0.3, 3.0], 2)
        y = own[shoe, 0] + own[shoe, 1] * days + rng.normal(size=len(shoe))
        model = SlopesModel(y, np.column_stack([np.ones_like(days), days]), shoe, days)
        deviance = Deviance(model._sums, (0, 1, 2), reml=True)
        found = deviance(model.fit()._lower[[0, 1, 1], [0, 0, 1]]).value
        tried = [rng.normal(size=3) * scale for scale in (0.1, 1.0, 5.0) for _ in range(20)]
        assert found <= min(deviance(theta).value for theta in tried) + 1e-9, trial


def test_a_variance_that_is_not_there_is_found_to_be_zero_and_named_singular() -> None:
    rng = np.random.default_rng(1)
    shoe = np.repeat(np.arange(30), 4)
    days = np.tile([0.0, 1.0, 2.0, 3.0], 30)
    noise = rng.normal(size=(30, 4))
    noise -= noise.mean(axis=1, keepdims=True)
    design = np.column_stack([np.ones(120), days])
    fitted = SlopesModel(noise.ravel(), design, shoe).fit()
    assert fitted.singular
    assert fitted.converged
    assert fitted.sd_re["intercept"] == pytest.approx(0.0, abs=1e-4)
    assert np.isnan(fitted.corr_re)


@pytest.mark.parametrize("reml", [True, False])
@pytest.mark.parametrize("effects", ["both", "intercept"])
def test_mixedlm_agrees_where_it_converges(effects: str, reml: bool) -> None:
    frame = soles(n_groups=60)
    frame["days"] /= 50
    x = frame[["one", "days", "wet_share"]]
    z = frame[["one", "days"]] if effects == "both" else frame[["one"]]
    theirs = MixedLM(frame["left_mm"], x, frame["shoe"], exog_re=z).fit(reml=reml)
    slope = frame["days"] if effects == "both" else None
    ours = SlopesModel(frame["left_mm"], x, frame["shoe"], slope).fit(reml=reml)
    assert theirs.converged
    np.testing.assert_allclose(ours.params, theirs.fe_params, rtol=1e-4)
    # Theirs come from the joint Hessian with the variances, ours given the variances.
    np.testing.assert_allclose(ours.bse, theirs.bse_fe, rtol=5e-3)
    np.testing.assert_allclose(ours.cov_re, theirs.cov_re, rtol=1e-3, atol=1e-6)
    assert ours.llf == pytest.approx(theirs.llf, abs=1e-5)
    assert ours.llf >= theirs.llf - 1e-8


def test_a_prediction_is_the_fixed_part_plus_the_line_of_a_known_group() -> None:
    frame = soles()
    fitted = fit(frame)
    x = frame[["one", "days", "wet_share"]]
    fixed = fitted.predict(x)
    np.testing.assert_allclose(fixed, x.to_numpy() @ fitted.params.to_numpy())
    lines = fitted.random_effects.loc[frame["shoe"]]
    own = fitted.predict(x, frame["shoe"], frame["days"])
    expected = fixed + lines["intercept"].to_numpy() + lines["slope"].to_numpy() * frame["days"]
    np.testing.assert_allclose(own, expected)
    np.testing.assert_allclose(fitted.predict(x, np.full(len(frame), -1), frame["days"]), fixed)


def test_rows_with_a_missing_value_are_left_out_and_counted() -> None:
    frame = soles()
    gappy = frame.copy()
    gappy.loc[[3, 50], "left_mm"] = np.nan
    gappy.loc[[60], "wet_share"] = np.nan
    fitted = fit(gappy)
    assert fitted.n_dropped == 3
    assert fitted.n_rows == len(frame) - 3
    assert fitted.llf == pytest.approx(fit(frame.drop([3, 50, 60])).llf, abs=1e-9)
    assert "3 rows with a missing value" in fitted.summary()


def test_a_missing_group_label_leaves_its_row_out() -> None:
    frame = soles()
    frame["shoe"] = frame["shoe"].astype(str).where(frame.index != 4, None)
    assert fit(frame).n_dropped == 1


def test_the_summary_says_method_counts_names_and_state() -> None:
    text = fit(soles()).summary()
    for part in ("REML", "converged", "40 groups", "wet_share", "correlation", "residual"):
        assert part in text


def test_inputs_are_left_as_they_were() -> None:
    frame = soles()
    before = frame.copy()
    fit(frame)
    pd.testing.assert_frame_equal(frame, before)


def bad(**changes: object) -> None:
    frame = soles()
    columns: dict[str, object] = {
        "endog": frame["left_mm"],
        "exog": frame[["one", "days"]],
        "groups": frame["shoe"],
        "exog_slope": frame["days"],
    }
    SlopesModel(**{**columns, **changes})


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"groups": np.zeros(3)}, "groups: 3 rows where endog has"),
        ({"exog": soles()[["one", "days"]].assign(again=soles()["days"] * 2 + 1)}, "exog.again"),
        ({"exog": soles()[["one"]].assign(none=0.0)}, "exog.none"),
        ({"endog": soles()["left_mm"].where(lambda v: v.index > 0, np.inf)}, "row 0 is infinite"),
        ({"endog": ["thick"] * len(soles())}, "endog: not every value is a number"),
        ({"groups": np.zeros(len(soles()))}, "one group"),
        ({"groups": np.arange(len(soles())), "exog_slope": None}, "each has one row"),
        ({"exog_slope": None, "random_intercept": False}, "nothing else is random"),
        ({"exog_slope": np.zeros(len(soles()))}, "exog_slope: every value is"),
        ({"endog": np.full(len(soles()), np.nan)}, "every row has a missing value"),
        ({"endog": soles()[["left_mm"]]}, "1 dimension"),
    ],
)
def test_what_cannot_be_fitted_is_refused_with_where_and_why(
    changes: dict[str, object], says: str
) -> None:
    with pytest.raises(BadFrame, match=says):
        bad(**changes)


def test_a_response_without_residual_is_refused() -> None:
    frame = soles(even=True)
    with pytest.raises(FitFailed, match="fit it exactly"):
        bad(endog=3.0 + 2.0 * soles()["days"])
    own_line = 1.0 * frame["shoe"] + (0.1 + 0.01 * frame["shoe"] ** 2) * frame["days"]
    with pytest.raises(FitFailed, match="exactly on a line"):
        SlopesModel(own_line, frame[["one", "days"]], frame["shoe"], frame["days"])
