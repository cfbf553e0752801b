"""Does every registered figure keep the promises that all figures make?"""

import json
import math
from functools import cache

import pandas as pd
import plotly.graph_objects as go
import pytest

from solespan.dashboards.figures import FIGURES
from solespan.forecast.frames import GRADES
from tests.dashboards.builders import LONG_NAME, TODAY, frames_for, rack
from tests.quick import some_quick

SITUATIONS = {
    "full": rack(6),
    "one pair": rack(1),
    "none": rack(0),
    "long names": rack(5, label=LONG_NAME),
    "200 pairs": rack(200),
}


@cache
def drawn(name: str, situation: str) -> go.Figure:
    entry, given = FIGURES[name], SITUATIONS[situation]
    pair_id = None
    if entry.page == "pair" and len(given.log.pairs):
        pair_id = given.log.pairs["pair_id"].iloc[0]
    return entry.draw(*frames_for(given, entry.needs, pair_id), today=TODAY).plotly()


@cache
def drawn_json(name: str, situation: str) -> str:
    return drawn(name, situation).to_json()


def numbers_in(value):
    if isinstance(value, dict):
        for inner in value.values():
            yield from numbers_in(inner)
    elif isinstance(value, list | tuple):
        for inner in value:
            yield from numbers_in(inner)
    else:
        yield value


@pytest.mark.parametrize("situation", some_quick(SITUATIONS, every=3))
@pytest.mark.parametrize("name", FIGURES)
class TestEveryFigure:
    def test_holds_no_missing_number_and_is_plain_json(self, name, situation):
        figure = json.loads(drawn_json(name, situation))
        for value in numbers_in(figure["data"]):
            assert value is not None
            assert not (isinstance(value, float) and not math.isfinite(value))
            assert value not in ("NaT", "nan")

    def test_names_its_axes_with_units_or_says_what_is_missing(self, name, situation):
        figure = drawn(name, situation)
        if figure.data:
            titles = [figure.layout.xaxis.title.text, figure.layout.yaxis.title.text]
            assert all(titles)
            assert any("(" in title or title == "date" for title in titles)
        else:
            words = figure.layout.annotations[0].text
            assert len(words.split()) > 8, "it says what is missing and what to do"

    def test_only_svg_traces_that_the_security_policy_lets_draw(self, name, situation):
        kinds = {trace.type for trace in drawn(name, situation).data}
        assert kinds <= {"scatter", "bar"}

    def test_holds_no_tag_but_line_breaks_not_even_one_from_a_name(self, name, situation):
        figure = json.loads(drawn_json(name, situation))
        figure["layout"].pop("template")
        for value in numbers_in(figure):
            if isinstance(value, str):
                bare = value.replace("<br>", "").replace("<extra></extra>", "")
                assert "<" not in bare, bare


@pytest.mark.parametrize("name", FIGURES)
def test_a_figure_without_any_data_is_an_honest_empty_one(name):
    assert not drawn(name, "none").data


@pytest.mark.parametrize("name", FIGURES)
def test_every_figure_has_a_title_and_a_page(name):
    assert FIGURES[name].title
    assert FIGURES[name].page


def test_an_interval_past_the_axis_ends_in_an_arrow():
    situation = rack(30)
    figure = (
        FIGURES["resole_dates"].draw(situation.forecast, situation.log.pairs, today=TODAY).plotly()
    )
    symbols = [
        s for t in figure.data if t.type == "scatter" and t.marker.symbol for s in t.marker.symbol
    ]
    assert "arrow-right" in symbols


def test_each_band_has_its_own_mark_and_its_word_stands_beside_the_name():
    figure = (
        FIGURES["resole_dates"]
        .draw(SITUATIONS["full"].forecast, SITUATIONS["full"].log.pairs, today=TODAY)
        .plotly()
    )
    assert "book in" in figure.data[1].text
    marks = {t.name: t.marker.symbol[0] for t in figure.data if t.type == "scatter" and t.name}
    assert len(set(marks.values())) == len(marks)


def test_swapping_the_feet_swaps_the_lines_of_the_path():
    situation = rack(1)
    path, checks = situation.path, situation.log.checks
    other = {"left": "right", "right": "left"}
    swapped = (
        FIGURES["wear_path"]
        .draw(
            path.assign(foot=path["foot"].map(other)),
            checks.assign(foot=checks["foot"].map(other)),
            today=TODAY,
        )
        .plotly()
    )
    straight = FIGURES["wear_path"].draw(path, checks, today=TODAY).plotly()

    def fitted(figure, foot):
        return next(t.y for t in figure.data if t.name == f"{foot} foot" and t.mode == "lines")

    assert fitted(straight, "left") == fitted(swapped, "right")
    assert fitted(straight, "left") != fitted(straight, "right")


def test_every_wear_day_of_the_last_two_years_is_counted_once():
    situation = rack(1)
    figure = FIGURES["wear_days"].draw(situation.log.wear_days, today=TODAY).plotly()
    assert sum(sum(trace.y) for trace in figure.data) == len(situation.log.wear_days)
    wet = next(trace for trace in figure.data if trace.name.startswith("wet"))
    assert sum(wet.y) == situation.log.wear_days["wet"].sum()
    assert wet.marker.pattern.shape == "/", "wet is told by hatching, not by colour alone"


@pytest.mark.parametrize("name", FIGURES)
def test_every_figure_changes_no_frame_and_answers_the_same_twice(name):
    entry, given = FIGURES[name], SITUATIONS["full"]
    frames = frames_for(given, entry.needs)
    before = [frame.copy() for frame in frames]
    first = entry.draw(*frames, today=TODAY).plotly().to_json()
    assert entry.draw(*frames, today=TODAY).plotly().to_json() == first
    for frame, copy in zip(frames, before, strict=True):
        pd.testing.assert_frame_equal(frame, copy)


def test_every_thumb_grade_has_its_own_mark():
    situation = rack(1)
    checks = situation.log.checks.head(4).assign(
        method="thumb", value_mm=float("nan"), grade=list(GRADES), foot="left"
    )
    figure = FIGURES["wear_path"].draw(situation.path, checks, today=TODAY).plotly()
    marks = next(t for t in figure.data if t.name == "left thumb grade").marker.symbol
    assert len(set(marks)) == len(GRADES)


@pytest.mark.parametrize("open_hours", [6.0, 60.0, 600.0])
def test_open_hours_never_flatten_the_hours_of_work(open_hours):
    frame = frames_for(SITUATIONS["full"], ("workload",))[0].assign(open_hours=open_hours)
    figure = FIGURES["workload"].draw(frame, today=TODAY).plotly()
    longest = frame.loc[frame["measure"] == "bench_hours", "p975"].max()
    assert longest <= figure.layout.yaxis.range[1] <= 2.2 * longest
    line = [trace for trace in figure.data if trace.name == "bench open"]
    said = [note.text for note in figure.layout.annotations]
    assert bool(line) != bool(said), "open hours are drawn or said"
    assert bool(said) == (open_hours == 600.0)
