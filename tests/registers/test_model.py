"""Do a module and a line bring a new wear model everywhere it should show?"""

from __future__ import annotations

import pytest

MODULE = '''"""Two years: what if every sole lasted two years?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from solespan.forecast.dates.models.entry import DueModel, DueRows
from solespan.forecast.log import WearLog


def _draw(log: WearLog, as_of: pd.Timestamp, horizon_days: int, _fit: object) -> DueRows:
    soles = log.until(as_of).soles
    soles = soles[soles["removed_on"].isna()]
    rows = pd.DataFrame({"pair_id": soles["pair_id"].to_numpy(), "foot": "pair", "point": "ball"})
    left = 730 - (as_of - soles["fitted_on"]).dt.days.to_numpy(float)
    return DueRows(rows, np.clip(left, 0, horizon_days)[:, None])


ENTRY = DueModel("two_years", "two years each", "judged by two years for every sole", _draw)
'''


@pytest.mark.slow
def test_a_module_and_a_line_bring_a_wear_model_everywhere(checkout):
    checkout.write("forecast/dates/models/two_years.py", MODULE)
    register = "forecast/dates/models/__init__.py"
    checkout.put_before(register, "        renewal.ENTRY", "        two_years.ENTRY,\n")
    checkout.replace(
        register,
        "import baselines, nested, renewal",
        "import baselines, nested, renewal, two_years",
    )
    checkout.run("model_in_use.py")
    assert len(checkout.by_hand) == 2
