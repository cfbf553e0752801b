"""Are irons and ounces the lengths that the standard says?"""

from __future__ import annotations

import numpy as np
import pytest

from solespan.forecast.units import iron_to_mm, mm_to_iron, mm_to_ounce, ounce_to_mm

# ASTM D1814 clause 1.2: 1 iron = 1/48 inch, 1 ounce (of thickness) = 1/64 inch; inch = 25.4 mm.


@pytest.mark.parametrize(
    ("iron", "mm", "ounce"),
    [(1, 0.5291666667, 4 / 3), (9, 4.7625, 12), (12, 6.35, 16), (10, 5.2916666667, 40 / 3)],
)
def test_irons_in_millimetres_and_ounces(iron: float, mm: float, ounce: float) -> None:
    assert iron_to_mm(iron) == pytest.approx(mm, abs=1e-9)
    assert mm_to_ounce(iron_to_mm(iron)) == pytest.approx(ounce, abs=1e-9)


def test_an_ounce_is_three_quarters_of_an_iron() -> None:
    assert ounce_to_mm(1) == 0.396875
    assert mm_to_iron(ounce_to_mm(6)) == pytest.approx(4.5, abs=1e-9)


def test_millimetres_come_back_from_irons_and_ounces() -> None:
    for mm in np.linspace(0, 20, 101):
        assert iron_to_mm(mm_to_iron(mm)) == pytest.approx(mm, abs=1e-12)
        assert ounce_to_mm(mm_to_ounce(mm)) == pytest.approx(mm, abs=1e-12)
