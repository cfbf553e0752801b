"""Are the nested engine's likelihood, its gradient and its sites of grades right?

Published answers: `tests/reference`.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.special import ndtr
from scipy.stats import multivariate_normal

from solespan.forecast.model.ep_sites import first_sites
from solespan.forecast.model.estimation import default_noise
from solespan.forecast.model.hierarchy import solve
from solespan.forecast.model.inner_loop import modes, prior_centre
from solespan.forecast.model.linearise import Linearised, Noise, Sites, linearise
from solespan.forecast.model.parameter_layout import coordinates
from solespan.forecast.model.posterior_moments import gradient
from solespan.forecast.observation.thumb import ThumbScale, interval_site
from solespan.forecast.panel.panel import Panel
from solespan.forecast.panel.panel_of_log import build_panel
from solespan.forecast.priors import SPREADS
from tests.forecast.builders import TODAY, day, grade, log_of, pair_row, rack, sole_row, wear_rows

LEVEL_OF = {
    **dict.fromkeys(("start", "packing", "shoe"), lambda panel: np.arange(len(panel.path_sole))),
    **dict.fromkeys(("sole_start", "sole"), lambda panel: panel.path_sole),
    **dict.fromkeys(("pair", "pair_foot", "gap"), lambda panel: panel.path_pair),
}  # the rest are the wearer's
SPREAD_OF = {"wearer_toe": "wearer_point", "wearer_heel": "wearer_point"}


def small_world() -> Panel:
    """Build two pairs of a driver, one of them pressed once by thumb, with some wet days."""
    frames = rack(2, driving_foot="left", check_days=(0, 60, 180, 300), noise_mm=0.1)
    frames["checks"] = frames["checks"].assign(grade=None)
    extra = pd.DataFrame([grade("ada-0", 250, "left", "give")])
    frames["checks"] = pd.concat([frames["checks"], extra], ignore_index=True)
    frames["wear_days"]["wet"] = np.arange(len(frames["wear_days"])) % 3 == 0
    return build_panel(log_of(frames), TODAY)


def linearised(panel: Panel, noise: Noise, sites: Sites, off: float = 0.0) -> Linearised:
    centre = prior_centre(coordinates(panel))
    weight = np.ones(len(panel.obs_kind))
    return linearise(panel, centre * off, centre, noise, weight, sites, seek_slips=False)


def test_gradient_by_the_log_spreads_is_that_of_finite_differences() -> None:
    panel, noise = small_world(), default_noise()
    layout = coordinates(panel)
    lin = linearised(panel, noise, first_sites(panel, noise), off=0.02)
    spread = {name: prior.median * 1.2 for name, prior in SPREADS.items()}
    slope = gradient(panel, solve(panel, layout, lin, spread), spread)

    def llf(name: str, by: float) -> float:
        moved = spread | {name: spread[name] * float(np.exp(by))}
        return solve(panel, layout, lin, moved).log_likelihood

    for name in SPREADS:
        numeric = (llf(name, 1e-4) - llf(name, -1e-4)) / 2e-4
        assert slope[name] == pytest.approx(numeric, rel=1e-5, abs=1e-6), name


def test_marginal_likelihood_is_that_of_one_dense_normal() -> None:
    """Every row's covariance is written out in full: unknowns, walk of the wear, reading error."""
    panel = small_world()
    noise = replace(default_noise(), process_mm=0.03)
    sites = first_sites(panel, noise)
    layout = coordinates(panel)
    lin = linearised(panel, noise, sites)
    spread = {name: prior.median for name, prior in SPREADS.items()}
    path = panel.obs_path
    design = lin.columns[layout.column] * layout.weight[:, path]
    random = len(layout.names) - len(layout.population)
    covariance = np.diag(lin.variance_mm2)
    for row, name in zip(design, layout.names[:random], strict=False):
        member = LEVEL_OF.get(name, lambda panel: panel.path_wearer)(panel)[path]
        sd = spread[SPREAD_OF.get(name, name)]
        covariance += sd**2 * (member[:, None] == member) * np.outer(row, row)
    for row, sd in zip(design[random:], layout.prior_sd, strict=True):
        covariance += sd**2 * np.outer(row, row)
    until = np.minimum(lin.wear_mm[:, None], lin.wear_mm)
    covariance += noise.process_mm * until * (path[:, None] == path)
    dense = multivariate_normal(np.zeros(len(path)), covariance).logpdf(lin.residual_mm)
    ours = solve(panel, layout, lin, spread).log_likelihood - 0.5 * len(path) * np.log(2 * np.pi)
    assert ours == pytest.approx(dense, abs=1e-8)


@pytest.mark.parametrize(
    ("low", "high"), [(3.4, np.inf), (2.5, 3.4), (-np.inf, 2.5)], ids=["firm", "give", "soft"]
)
@pytest.mark.parametrize("mean", [2.2, 3.0, 4.5])
def test_a_site_gives_the_moments_of_a_thickness_seen_in_an_interval(
    low: float, high: float, mean: float
) -> None:
    """Against a fine grid of thicknesses, each weighed by the chance of the grade there."""
    noise_sd, sd = 0.3, 0.4
    at = np.array([mean])
    site, variance = interval_site(
        np.array([low]), np.array([high]), np.array([noise_sd]), at, np.array([sd**2])
    )
    precision = 1.0 / sd**2 + 1.0 / variance[0]
    told = (mean / sd**2 + site[0] / variance[0]) / precision
    thickness = np.linspace(mean - 9 * sd, mean + 9 * sd, 20_001)
    weight = np.exp(-0.5 * np.square((thickness - mean) / sd))
    weight *= ndtr((high - thickness) / noise_sd) - ndtr((low - thickness) / noise_sd)
    true_mean = np.average(thickness, weights=weight)
    true_sd = np.sqrt(np.average(np.square(thickness - true_mean), weights=weight))
    assert told == pytest.approx(true_mean, abs=1e-4)
    assert precision**-0.5 == pytest.approx(true_sd, rel=1e-3)


def posterior_of_grades(words: list[str]) -> tuple[np.ndarray, np.ndarray]:
    """Log rate's mean and SD of one wearer seen by thumb alone: the engine's, and the true one.

    The true one by importance sampling of wearer's rate, both starts and the thumb's shift.
    """
    rng = np.random.default_rng(0)
    offsets = np.sort(rng.choice(np.arange(1, 360), 200, replace=False))
    at = np.linspace(10, 199, len(words)).astype(int)
    checks = [
        grade("p", int(offsets[i]), foot, w) for i, w in zip(at, words, strict=True)
        for foot in ("left", "right")
    ]  # fmt: skip
    # the sole is off today, so that nothing but the grades tells about it
    log = log_of(
        {
            "pairs": pd.DataFrame([pair_row("p")]),
            "soles": pd.DataFrame([sole_row("p")]),
            "wear_days": pd.DataFrame(wear_rows("p", offsets)),
            "checks": pd.DataFrame(checks),
        }
    )
    panel = build_panel(log, day(364))
    graded = panel.obs_check >= 0
    panel = replace(
        panel,
        **{n: getattr(panel, n)[graded] for n in vars(panel) if n.startswith("obs_")},
    )
    layout = coordinates(panel)
    scale = ThumbScale(3.4, 2.5, 0.3, 0)
    noise = replace(default_noise(), process_mm=1e-6, thumb=scale)
    spread = dict.fromkeys(SPREADS, 1e-3) | {"wearer": 0.4, "start": 0.2, "thumb": 0.2}
    p = len(layout.population)
    known = (np.zeros(p), np.eye(p) * 1e-10)
    found = modes(panel, layout, spread, noise, population=known, steps=40)
    centre = prior_centre(layout)
    ours = np.array([found.deviation[2, 0], np.sqrt(found.log_rate_variance[0])])
    draws = 100_000
    wearer, shift = rng.normal(0, 0.4, draws), rng.normal(0, 0.2, draws)
    log_weight = np.zeros(draws)
    for _ in ("left", "right"):
        start = rng.normal(0, 0.2, draws)
        for i, word in zip(at, words, strict=True):
            wear = np.exp(centre[2, 0] + wearer) * (i + 1.0)
            seen = 5.0 + start - centre[1, 0] * min((i + 1.0) / 6.0, 1.0) - wear + shift
            firm, give = ndtr((seen - 3.4) / 0.3), ndtr((seen - 2.5) / 0.3)
            chance = {"firm": firm, "give": give - firm, "soft": 1.0 - give}[word]
            log_weight += np.log(np.maximum(chance, 1e-300))
    weight = np.exp(log_weight - log_weight.max())
    mean = np.average(wearer, weights=weight)
    true = np.array([mean, np.sqrt(np.average(np.square(wearer - mean), weights=weight))])
    return ours, true


@pytest.mark.parametrize(
    "words",
    [
        ["firm"] * 6,
        ["firm"] * 4 + ["give"] * 2,
        ["firm", "firm", "give", "give", "soft", "soft"],
    ],
    ids=["always firm", "at last give", "down to soft"],
)
def test_six_grades_give_the_posterior_of_importance_sampling(words: list[str]) -> None:
    """The rate acts through exp, so a normal posterior can be near but not equal."""
    (mean, sd), (true_mean, true_sd) = posterior_of_grades(words)
    assert mean == pytest.approx(true_mean, abs=0.15 * true_sd)
    assert sd == pytest.approx(true_sd, rel=0.15)
