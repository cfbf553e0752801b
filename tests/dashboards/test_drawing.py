"""Does the server's drawing of every figure keep the promises of all drawings?"""

import csv
import xml.etree.ElementTree as ET
from itertools import pairwise

import pytest

from solespan.dashboards.drawing import WIDTHS_PX, csv_text, drawing, drawn_rows
from solespan.dashboards.figures import FIGURES
from tests.dashboards.builders import LONG_NAME, TODAY, frames_for, rack
from tests.quick import some_quick

MOST_BYTES = 6_000
SITUATIONS = {
    "full": rack(6),
    "one pair": rack(1),
    "none": rack(0),
    "long names": rack(5, label=LONG_NAME),
}
NAMES = [name for name in FIGURES if name != "plan_followed"]


def chart_of(name, situation="full"):
    entry, given = FIGURES[name], SITUATIONS[situation]
    pair_id = None
    if entry.page == "pair" and len(given.log.pairs):
        pair_id = given.log.pairs["pair_id"].iloc[0]
    return entry.draw(*frames_for(given, entry.needs, pair_id), today=TODAY)


def drawings(name, situation="full"):
    entry = FIGURES[name]
    text = str(drawing(chart_of(name, situation), name, entry.title, "Words."))
    return [f"<svg{part}" for part in text.split("<svg")[1:]]


def ticks_of(svg):
    """Middles of the words under the plot: the lowest row of texts set by their middle."""
    middles = [t for t in svg.iter("text") if t.get("text-anchor") == "middle"]
    return sorted(float(t.get("x")) for t in middles if t.get("y") == middles[0].get("y"))


@pytest.mark.parametrize("situation", some_quick(SITUATIONS, every=3))
@pytest.mark.parametrize("name", FIGURES)
class TestEveryDrawing:
    def test_is_small_whole_and_obeys_the_security_policy(self, name, situation):
        for text, width in zip(drawings(name, situation), WIDTHS_PX, strict=True):
            assert len(text.encode()) <= MOST_BYTES
            svg = ET.fromstring(text)
            assert svg.get("viewBox").split()[2] == str(width)
            assert not [e for e in svg.iter() if "style" in e.attrib or e.tag == "script"]
            assert "nan" not in text
            assert "NaT" not in text

    def test_has_a_title_and_says_what_it_shows(self, name, situation):
        for text in drawings(name, situation):
            svg = ET.fromstring(text)
            named = {e.get("id"): e.text for e in svg if e.tag in ("title", "desc")}
            assert [named[i] for i in svg.get("aria-labelledby").split()] == list(named.values())
            assert named[svg.get("aria-labelledby").split()[0]] == FIGURES[name].title
            assert all(named.values())

    def test_no_two_ticks_are_nearer_than_a_finger(self, name, situation):
        for text in drawings(name, situation):
            svg = ET.fromstring(text)
            if chart_of(name, situation).data:
                assert all(b - a >= 44 for a, b in pairwise(ticks_of(svg)))


@pytest.mark.parametrize("name", ["wear_path", "left_right", "calibration", "due_spread"])
def test_the_table_holds_every_number_that_is_drawn(name):
    chart = chart_of(name)
    drawn = sum(
        len(t["x"])
        for t in chart.data
        if t.get("mode") != "text" and t.get("fill") != "toself" and not t.get("base")
    )
    spans = sum(
        len(t["x"]) for t in chart.data if t.get("base") and not isinstance(t["base"][0], str)
    )
    assert len(drawn_rows(chart)) == drawn + spans
    headings = ("What", "Day", "Value")
    content = csv_text(chart, headings)
    assert [tuple(row) for row in csv.reader(content.splitlines())] == [
        headings,
        *drawn_rows(chart),
    ]


def test_the_near_months_take_most_of_the_width():
    chart = FIGURES["resole_dates"].draw(
        SITUATIONS["full"].forecast, SITUATIONS["full"].log.pairs, today=TODAY
    )
    (day, share) = chart.layout["meta"]["split"]
    assert share == 0.78
    assert 500 < (TODAY.__class__(day) - TODAY).days < 560
    assert 'class="far"' in drawings("resole_dates")[0]


def test_thumb_grades_stand_off_the_axis_of_thickness():
    chart = chart_of("wear_path")
    graded = [t for t in chart.data if "thumb" in str(t.get("name"))]
    assert graded
    assert all(t["yaxis"] == "y2" for t in graded)


def test_a_name_from_outside_stays_text():
    situation = rack(2, label="<script>alert(1)</script> & co")
    chart = FIGURES["resole_dates"].draw(situation.forecast, situation.log.pairs, today=TODAY)
    assert "<script" not in str(drawing(chart, "x", "<b>", "<i>"))
