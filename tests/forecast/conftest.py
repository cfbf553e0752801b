"""Which fit and logs do the tests of the model share?"""

from __future__ import annotations

import pytest

from solespan.forecast import WearFit, WearLog, WearModel
from tests.forecast.builders import TODAY, log_of, rack, together

WEARERS = (("ada", "left"), ("ben", "right"), ("cyd", None), ("dot", "none"))


def community() -> dict:
    """Build frames of four wearers' racks, two of them drivers."""
    return together(
        *(
            rack(3, wearer_id=w, driving_foot=foot, seed=i, left_faster=1.05)
            for i, (w, foot) in enumerate(WEARERS)
        )
    )


@pytest.fixture(scope="session")
def shared_log() -> WearLog:
    return log_of(community())


@pytest.fixture(scope="session")
def shared_fit(shared_log) -> WearFit:
    return WearModel(shared_log, TODAY).fit()
