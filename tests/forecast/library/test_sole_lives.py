"""Sole lives: is the product-limit estimate the published one, and which soles are censored?"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from solespan.forecast.backtesting.sole_lives import kaplan_meier, median_life, sole_lives
from tests.forecast.builders import day, log_of, pair_row, reading, sole_row, wear_rows

# Weeks in remission under 6-MP, 21 patients; True: relapsed. Gehan, Biometrika 52:203 (1965),
# with the estimates of Cox and Oakes, Analysis of Survival Data (1984), both from memory.
WEEKS = (6, 6, 6, 6, 7, 9, 10, 10, 11, 13, 16, 17, 19, 20, 22, 23, 25, 32, 32, 34, 35)
RELAPSED = (1, 1, 1, 0, 1, 0, 1, 0, 0, 1, 1, 0, 0, 0, 1, 1, 0, 0, 0, 0, 0)
PUBLISHED = {6: 0.857, 7: 0.807, 10: 0.753, 13: 0.690, 16: 0.627, 22: 0.538, 23: 0.448}


def remissions() -> pd.DataFrame:
    return pd.DataFrame({"days": np.array(WEEKS, float), "due": np.array(RELAPSED, bool)})


def test_the_estimate_is_the_published_one():
    found = kaplan_meier(remissions()).set_index("days")["alive"]
    assert found.round(3).to_dict() == PUBLISHED
    assert median_life(remissions())[0] == 23.0


def test_the_interval_holds_the_estimate_and_stays_between_0_and_1():
    found = kaplan_meier(remissions())
    assert (found["low"] <= found["alive"]).all()
    assert (found["alive"] <= found["high"]).all()
    assert (found[["low", "high"]].to_numpy() <= 1.0).all()
    assert (found[["low", "high"]].to_numpy() >= 0.0).all()


def test_a_life_ends_when_due_and_else_is_censored():
    frames = {
        "pairs": pd.DataFrame([pair_row(p) for p in ("a", "b", "c", "d")]),
        "soles": pd.DataFrame(
            [
                sole_row("a"),
                sole_row("b"),
                sole_row("c", removed_on=day(300)),
                sole_row("c", number=2, fitted_on=day(310)),
                sole_row("d", removed_on=day(200)),
                sole_row("d", number=2, fitted_on=day(210)),
            ]
        ),
        "checks": pd.DataFrame(
            [
                reading("a", 100, "left", 2.4),
                reading("a", 200, "left", 1.9),
                reading("d", 190, "left", 3.5),
            ]
        ),
        "wear_days": pd.DataFrame(wear_rows("b", [50])),
    }
    found = sole_lives(log_of(frames)).set_index("sole_id")[["days", "due"]]
    assert found.loc["a-S1"].tolist() == [150.0, True], "halfway between the checks"
    assert found.loc["b-S1"].tolist() == [50.0, False], "last worn then, never looked at"
    assert found.loc["c-S1"].tolist() == [300.0, True], "handed over"
    assert found.loc["d-S1"].tolist() == [200.0, False], "handed over early"
    assert set(found.index) == {"a-S1", "b-S1", "c-S1", "d-S1"}, "the others were never seen worn"


def test_without_a_sole_that_was_due_there_is_no_middle():
    none = remissions().assign(due=False)
    assert all(np.isnan(median_life(none)))
    assert kaplan_meier(none.iloc[:0]).empty
    assert kaplan_meier(none)["alive"].to_list() in ([], pytest.approx([1.0]))
