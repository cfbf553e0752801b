"""Which published data do the reference tests read, and where do they come from?

Tables of facts from books are typed in `data/`, a row a group, a column an occasion; what the
project is given beside it (`../shared/data`) is read there, and its tests skip where it is absent.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

TYPED = Path(__file__).with_name("data")
GIVEN = Path(__file__).resolve().parents[2].parent / "shared" / "data"


def typed(name: str) -> pd.DataFrame:
    """Read a typed table in long form: group, occasion (the heading as a number), value."""
    wide = pd.read_csv(TYPED / f"{name}.csv", dtype={"group": str})
    long = wide.melt("group", var_name="occasion", value_name="value").dropna()
    long["occasion"] = long["occasion"].astype(float)
    return long.sort_values(["group", "occasion"]).reset_index(drop=True)


def given(name: str) -> pd.DataFrame:
    """Read a data file given beside the project, or skip visibly."""
    path = GIVEN / f"{name}.csv"
    if not path.exists():
        pytest.skip(f"{name}.csv is not beside the project (../shared/data)")
    return pd.read_csv(path)


@pytest.fixture
def sleep() -> pd.DataFrame:
    """Reaction time in ms of 18 people over 10 days of sleep loss.

    Belenky et al., Journal of Sleep Research 12:1 (2003); R: lme4::sleepstudy.
    """
    return typed("sleep_deprivation_ms").rename(columns={"occasion": "x", "value": "y"})


@pytest.fixture
def growth() -> pd.DataFrame:
    """Distance in mm at ages 8 to 14 of 11 girls (F) and 16 boys (M).

    Potthoff and Roy, Biometrika 51:313 (1964); R: nlme::Orthodont.
    """
    return typed("orthodontic_growth_mm").rename(columns={"occasion": "x", "value": "y"})


@pytest.fixture
def fatigue() -> pd.DataFrame:
    """Logarithm of crack length over its first value (0.9 in) against millions of cycles.

    Alloy-A, Meeker and Escobar, Statistical Methods for Reliability Data (1998); R: nlme::Fatigue.
    """
    long = typed("fatigue_crack_in")
    return long.assign(x=long["occasion"] / 100, y=np.log(long["value"] / 0.9))


@pytest.fixture
def heights() -> pd.DataFrame:
    """Height in cm of 26 boys of Oxford on 9 occasions against centred age.

    Goldstein, Multilevel Models in Educational and Social Research (1987); R: nlme::Oxboys.
    """
    height, age = typed("boys_height_cm"), typed("boys_centred_age")
    return height.rename(columns={"value": "y"}).assign(x=age["value"])


@pytest.fixture
def oranges() -> pd.DataFrame:
    """Circumference in mm of the trunks of five orange trees against age in days.

    Draper and Smith, Applied Regression Analysis (1981), exercise 24.N; R: datasets::Orange.
    """
    return typed("orange_trees_mm").rename(columns={"occasion": "age", "value": "y"})


@pytest.fixture
def laser() -> pd.DataFrame:
    """Percent increase in current of 15 lasers against thousands of hours, 255 rows.

    Meeker and Escobar (1998), table C.17.
    """
    rows = given("laser_degradation")
    return rows.assign(group=rows["unit"], x=rows["hours"] / 1000, y=rows["increase"])


@pytest.fixture
def metal() -> pd.DataFrame:
    """Sliding metal wear in microns of 12 units at three loads against cycles; same book."""
    return given("metal_wear")


@pytest.fixture
def shoes() -> pd.DataFrame:
    """Wear of the shoes of 10 boys, one of material A and one of B, in the units of the book.

    Box, Hunter, Hunter, Statistics for Experimenters (1978); columns boy, right, is_b, wear.
    """
    a = [13.2, 8.2, 10.9, 14.3, 10.7, 6.6, 9.5, 10.8, 8.8, 13.3]
    b = [14.0, 8.8, 11.2, 14.2, 11.8, 6.4, 9.8, 11.3, 9.3, 13.6]
    a_is_right = np.array([foot == "R" for foot in "LLRLRLLLRL"])
    boy = np.arange(10)
    return pd.concat(
        [
            pd.DataFrame({"boy": boy, "is_b": 0.0, "right": a_is_right * 1.0, "wear": a}),
            pd.DataFrame({"boy": boy, "is_b": 1.0, "right": ~a_is_right * 1.0, "wear": b}),
        ]
    )
