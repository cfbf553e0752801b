"""Does the ordered model that grades are read with give the answers of R's ordinal package?"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from statsmodels.miscmodels.ordinal_model import OrderedModel

# Counts of bitterness 1 to 5 by (warm, contact): Randall, Biometrical Journal 31:781 (1989).
BITTERNESS = {
    (0, 0): (4, 9, 5, 0, 0),
    (0, 1): (1, 7, 8, 2, 0),
    (1, 0): (0, 5, 8, 3, 2),
    (1, 1): (0, 1, 5, 7, 5),
}
# R ordinal 2022.11-16: clm(rating ~ temp + contact, data = wine, link = ...).
BY_LINK = {
    "probit": (
        (1.499375, 0.867744),
        (-0.773263, 0.736021, 2.044680, 2.941345),
        -85.76115,
    ),
    "logit": ((2.50310, 1.52780), (-1.34438, 1.25081, 3.46689, 5.00640), -86.49192),
}


@pytest.mark.parametrize("link", BY_LINK)
def test_effects_and_cut_points_of_wine_bitterness(link: str) -> None:
    rows = [
        (warm, contact, grade)
        for (warm, contact), counts in BITTERNESS.items()
        for grade, count in enumerate(counts, start=1)
        for _ in range(count)
    ]
    wine = pd.DataFrame(rows, columns=["warm", "contact", "grade"])
    model = OrderedModel(wine["grade"], wine[["warm", "contact"]], distr=link)
    fitted = model.fit(method="bfgs", gtol=1e-8, disp=False)
    effects, cuts, llf = BY_LINK[link]
    np.testing.assert_allclose(fitted.params[:2], effects, atol=1e-5)
    np.testing.assert_allclose(
        model.transform_threshold_params(fitted.params)[1:-1], cuts, atol=1e-5
    )
    assert fitted.llf == pytest.approx(llf, abs=1e-5)
