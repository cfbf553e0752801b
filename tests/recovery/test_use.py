"""Is use told no worse than by simple rules, and are its intervals honest, in unlike worlds?"""

from __future__ import annotations

import pandas as pd
import pytest

from tests.recovery.use_rules import HORIZONS, RULES, use_rows

MOST = {"score_world": 1.0, "own_seasons": 0.9, "long_trips": 1.0, "changed_habits": 1.0}
SEED, PAIRS = 71, 200

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def worlds() -> dict[str, pd.DataFrame]:
    """Rows of each world."""
    return {name: use_rows(name, SEED, PAIRS) for name in MOST}


@pytest.mark.parametrize("days", HORIZONS)
@pytest.mark.parametrize("name", MOST)
def test_use_is_told_no_worse_than_by_the_best_simple_rule(
    worlds: dict[str, pd.DataFrame], name: str, days: int
) -> None:
    part = worlds[name][worlds[name]["days"] == days]
    errors = part[["model", *RULES]].sub(part["actual"], axis=0).abs().mean()
    assert errors["model"] <= MOST[name] * errors[list(RULES)].min()


def test_intervals_of_counts_hold_what_they_say(worlds: dict[str, pd.DataFrame]) -> None:
    """Some 360 wearers over four worlds: two errors of the share are 4 points."""
    held = pd.concat(worlds.values())["held"].mean()
    assert 0.76 < held < 0.84, held
