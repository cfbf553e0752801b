"""Does following the plan spare holes and crowds at the bench, in worlds the planner cannot see?"""

from __future__ import annotations

import json

import pandas as pd
import pytest

from solespan.dashboards.figures.plan_followed import MEASURES, plan_followed
from tests.forecast.planning.owners import START, years

SOME = pd.DataFrame(
    {
        "owner": ["follows the plan", "does not"] * 2,
        "soles_past_limit": [0, 3, 1, 2],
        "most_away": [1, 2, 1, 3],
        "most_sent_in_30_days": [1, 2, 1, 2],
    }
)


@pytest.mark.slow
def test_owners_who_follow_the_plan_wear_fewer_soles_past_the_limit_and_never_crowd_the_bench():
    frame = years(range(8))
    mean = frame.groupby("owner")[[*MEASURES, "soles_sent"]].mean()
    with_plan, without = mean.loc["follows the plan"], mean.loc["does not"]
    assert with_plan["soles_past_limit"] < 0.5 * without["soles_past_limit"]
    assert with_plan["most_away"] <= 1.0, "as wished"
    assert with_plan["most_sent_in_30_days"] <= 2.0, "one a calendar month, so two within 30 days"


def test_the_figure_shows_every_owner_and_the_means():
    figure = plan_followed(SOME, today=START)
    bars = [t for t in figure.data if t["type"] == "bar"]
    marks = [t for t in figure.data if t["type"] == "scatter"]
    assert list(bars[1]["y"]) == [2.5, 2.5, 2.0]
    assert sum(len(t["y"]) for t in marks) == len(SOME) * len(MEASURES)
    assert len({t["marker"]["symbol"] for t in marks}) == 2, "told by mark, not by colour alone"
    json.loads(figure.plotly().to_json())


def test_without_owners_the_figure_says_so():
    assert not plan_followed(SOME.iloc[:0], today=START).data
