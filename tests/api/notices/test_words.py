"""Does a notice say when a pair is due without a precision nobody has?"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from solespan.api.channels.retry import RFC_5321, next_try
from solespan.api.notices.words import CAUTIONS, THUMB_CHECK, bring_by, due_window, how_sure
from solespan.forecast.frames import GRADES

TODAY = date(2027, 1, 10)


@pytest.mark.parametrize(
    ("p10", "p90", "said"),
    [
        (date(2027, 3, 15), date(2027, 5, 4), "between mid-March and early May"),
        (date(2027, 3, 25), date(2028, 2, 4), "between late March and early February 2028"),
        (date(2028, 3, 25), date(2029, 2, 4), "between late March 2028 and early February 2029"),
        (date(2027, 3, 12), date(2027, 3, 19), "in mid-March"),
        (date(2026, 12, 1), date(2027, 2, 24), "now or by late February"),
        (date(2026, 10, 1), date(2027, 1, 9), "now"),
        (date(2027, 6, 1), None, "from early June on, perhaps much later"),
        (date(2026, 6, 1), None, "now, or later"),
        (None, None, "later than can be foreseen"),
    ],
)
def test_an_interval_is_said_in_thirds_of_months(p10, p90, said):
    assert due_window(p10, p90, TODAY) == said


@pytest.mark.parametrize(
    ("p10", "p90", "said"),
    [
        (date(2027, 3, 15), date(2027, 5, 4), "four times in five within that time"),
        (date(2026, 12, 1), date(2027, 2, 24), "nine times in ten by then"),
        (date(2026, 10, 1), date(2027, 1, 9), "nine times in ten it is at its limit already"),
        (date(2027, 6, 1), None, "nine times in ten not before"),
        (date(2026, 6, 1), None, ""),
        (None, None, ""),
    ],
)
def test_a_share_is_said_only_for_what_the_interval_speaks_for(p10, p90, said):
    """The 10th to the 90th percentile hold four in five; one end alone leaves nine in ten."""
    assert how_sure(p10, p90, TODAY) == said


@given(st.dates(date(2026, 1, 1), date(2031, 1, 1)), st.integers(0, 900))
def test_no_single_day_is_ever_said(p10, width):
    said = due_window(p10, p10 + timedelta(days=width), TODAY)
    assert not any(part.isdigit() and len(part) < 4 for part in said.split())


def test_a_day_to_bring_it_that_has_come_is_as_soon_as_you_can():
    assert bring_by(date(2027, 3, 12), TODAY) == "by 12 March"
    assert bring_by(date(2028, 3, 12), TODAY) == "by 12 March 2028"
    assert bring_by(TODAY, TODAY) == bring_by(None, TODAY) == "as soon as you can"


def test_the_thumb_check_names_every_grade_and_what_could_hurt():
    assert all(grade in " ".join(THUMB_CHECK) for grade in GRADES)
    assert "nails" in THUMB_CHECK[0], "before anybody presses a thumb on it"
    assert all(word in " ".join(CAUTIONS) for word in ("slip", "loose", "nail", "estimates"))


@given(st.floats(0, 1), st.floats(0, 1))
def test_tries_go_on_for_days_with_growing_gaps_and_then_end(one, other):
    """RFC 5321, 4.5.4.1: at least 30 minutes apart after the first, for 4 to 5 days."""
    made = now = datetime(2026, 11, 25, tzinfo=UTC)
    gaps, attempts = [], 1
    while (at := next_try(now, made, attempts, one if attempts % 2 else other)) is not None:
        gaps.append(at - now)
        now, attempts = at, attempts + 1
    assert timedelta(days=4) < now - made <= RFC_5321.give_up_after
    assert all(gap >= timedelta(minutes=30) for gap in gaps[2:])
    assert gaps[0] < timedelta(minutes=10)
    assert len(gaps) < 40
