"""Are wear rates that move seen, said and widened for, and is there no drift where none is?"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from solespan.forecast import WearFit, WearModel, forecast, wear_log
from solespan.forecast.dates.due import due_sample
from solespan.forecast.model.wear_model import condition
from solespan.forecast.panel.rate_ages import STEP_YEARS, STEPS, aged
from solespan.synthetic_data import world
from tests.forecast.builders import day, log_of, pair_row, reading, sole_row, wear_rows
from tests.reference.conftest import typed

END = 480  # days after the first sole was fitted
CUT, LEVEL, WEARS_PER_UNIT = 0.06, np.log(1.6 / 0.9), 2000
NEW_MM, LOSS_MM = 5.0, 2.1


def rack(rise: float, noise: int = 3) -> dict[str, pd.DataFrame]:
    """Five pairs, worn every second day, read every 60; the rate rises by `rise` on day 330."""
    rng = np.random.default_rng(noise)
    rows: dict[str, list[dict[str, object]]] = {n: [] for n in ("pairs", "soles", "wear", "checks")}
    for i, rate in enumerate((0.0055, 0.006, 0.0065, 0.007, 0.0075)):
        pair = f"p{i}"
        rows["pairs"].append(pair_row(pair))
        rows["soles"].append(sole_row(pair))
        rows["wear"] += wear_rows(pair, range(1, END, 2))
        for at in range(0, END + 1, 60):
            worn = 0.5 * (min(at, 330) + rise * max(at - 330, 0))
            for foot in ("left", "right"):
                value = 5.0 - 0.2 * min(at, 1) - rate * worn + rng.normal(0.0, 0.04)
                rows["checks"].append(reading(pair, at, foot, round(value, 3), "depth_gauge"))
    named = {"wear_days": rows.pop("wear"), **rows}
    return {name: pd.DataFrame(found) for name, found in named.items()}


def fitted(rise: float) -> tuple[WearFit, pd.DataFrame]:
    """The fit of a rack, and its pairs' rows."""
    log = log_of(rack(rise))
    fit = WearModel(log, day(END)).fit()
    rows = forecast(fit, log, day(END))
    return fit, rows[rows["foot"] == "pair"]


def test_no_drift_is_found_where_rates_stand_still() -> None:
    fit, rows = fitted(1.0)
    assert not fit.rates_move
    assert not rows["reason"].str.contains("wears").any()


@pytest.mark.parametrize(("rise", "word"), [(2.5, "faster"), (0.3, "slower")])
def test_a_change_of_rate_is_named_and_believed(rise: float, word: str) -> None:
    fit, rows = fitted(rise)
    assert fit.rates_move
    assert rows["reason"].str.contains(f"wears {word} since about ").all()
    known = condition(fit, log_of(rack(rise)), day(END), 100)
    balls = np.flatnonzero(known.panel.path_point == 0)
    rates = np.exp(known.log_rate[balls])
    true = rise * np.repeat([0.0055, 0.006, 0.0065, 0.007, 0.0075], 2)
    assert np.abs(np.log(rates / true)).max() < 0.45  # of a factor of 2.5 or 3.3


def test_a_change_of_one_owner_is_seen_where_the_population_stands_still() -> None:
    """The fit is of a rack whose rates stand still; the forecast is of one whose rates rise."""
    fit, still = fitted(1.0)
    rows = forecast(fit, log_of(rack(2.5)), day(END))
    rows = rows[rows["foot"] == "pair"]
    assert not still["reason"].str.contains("wears").any()
    assert rows["reason"].str.contains("wears faster since about ").all()


def test_the_mean_rate_of_the_past_and_its_slopes() -> None:
    rng = np.random.default_rng(5)
    older = np.sort(rng.uniform(0.0, 1.0, (7, STEPS)), axis=1)[:, ::-1]
    steps = rng.normal(0.0, 0.4, (STEPS + 1, 7))
    factor, slopes = aged(older, steps)
    share = np.column_stack([1.0 - older[:, 0], older[:, :-1] - older[:, 1:], older[:, -1]])
    back = np.cumsum(steps[:-1] - STEP_YEARS[:, None] * steps[-1], axis=0)
    np.testing.assert_allclose(factor, (share * np.exp(np.vstack([0 * back[:1], back]).T)).sum(1))
    for k in range(STEPS + 1):
        moved = steps.copy()
        moved[k] += 1e-6
        np.testing.assert_allclose((aged(older, moved)[0] - factor) / 1e-6, slopes[k], atol=1e-4)


def cracks(of_one: bool) -> tuple[dict[str, pd.DataFrame], pd.Series, pd.Timestamp]:
    """Crack growth as soles up to 0.06 million cycles, and the days of the crossings.

    Alloy-A, Meeker and Escobar (1998); R: nlme::Fatigue. The level is a crack of 1.6 inches.
    """
    rows = typed("fatigue_crack_in")
    rows = rows.assign(t=rows["occasion"] / 100, y=np.log(rows["value"] / 0.9))

    def day_of(t: pd.Series | float) -> np.ndarray:
        wears = np.ceil(np.round(np.asarray(t) * WEARS_PER_UNIT, 6)).astype(int)
        return (3 * wears + 1) // 2

    met = {}
    for unit, part in rows.groupby("group"):
        if part["y"].max() >= LEVEL:
            met[unit] = float(np.interp(LEVEL, part["y"], part["t"]))
    crossing = pd.Series(met) * WEARS_PER_UNIT * 1.5
    known = rows[rows["t"] <= CUT]
    wears = [(3 * n + 1) // 2 for n in range(1, int(CUT * WEARS_PER_UNIT) + 1)]
    units = rows["group"].unique()
    limit = {"nominal_thickness_mm": NEW_MM, "limit_mm": NEW_MM - LOSS_MM}
    checks = [
        reading(unit, int(at), foot, round(NEW_MM - LOSS_MM / LEVEL * y, 3), "depth_gauge")
        for unit, at, y in zip(known["group"], day_of(known["t"]), known["y"], strict=True)
        for foot in ("left", "right")
    ]
    frames = {
        "pairs": pd.DataFrame([pair_row(u, "bench" if of_one else f"w{u}") for u in units]),
        "soles": pd.DataFrame([sole_row(u, **limit) for u in units]),
        "wear_days": pd.DataFrame([row for u in units for row in wear_rows(u, wears)]),
        "checks": pd.DataFrame(checks),
    }
    end = int(day_of(CUT))
    return frames, crossing - end, day(end)


@pytest.mark.slow
@pytest.mark.parametrize("of_one", [True, False], ids=["one owner", "an owner each"])
def test_growth_that_speeds_up_is_forecast_with_honest_intervals(of_one: bool) -> None:
    frames, crossing, as_of = cracks(of_one)
    log = wear_log(**frames)
    fit = WearModel(log, as_of).fit()
    days = due_sample(fit, log, as_of).quantile([0.1, 0.9], axis=1).T.loc[crossing.index]
    assert len(crossing) == 12
    assert crossing.between(days[0.1], days[0.9]).sum() >= 8
    known = condition(fit, log, as_of, 100)
    assert known.slip.sum() <= 0.03 * (known.panel.obs_kind < 3).sum()


@pytest.mark.slow
def test_ground_and_steps_count_as_they_do_where_rates_stand_still() -> None:
    """A rate that moves does not make wet, rough or counted days wear more than they did.

    Steps count 1 in the world. Without the bends by step and multiplier together they came to 1.7.
    """
    drawn = world("risen_rates", 11, n_pairs=130, horizon_days=0)
    fit = WearModel(wear_log(**drawn.frames), drawn.as_of).fit()
    assert fit.rates_move
    assert fit.params["log_steps"] == pytest.approx(0.0, abs=0.35)
    assert fit.params["log_wet"] == pytest.approx(np.log(drawn.truth.wet_factor), abs=0.1)
    assert fit.params["log_rough"] == pytest.approx(np.log(drawn.truth.rough_factor), abs=0.1)
