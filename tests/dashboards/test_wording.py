"""Do the sentences say what the numbers say, and no more."""

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from solespan.dashboards import wording
from solespan.dashboards.pages.bench.workload import levelling_words
from solespan.dashboards.tables import due_list
from solespan.dashboards.wears_left import wears_left, wears_short
from solespan.forecast.frames import BANDS
from tests.dashboards.builders import TODAY, rack, with_band

days = st.integers(min_value=-2000, max_value=4000)


def day(text: str) -> pd.Timestamp:
    return pd.Timestamp(text)


@pytest.mark.parametrize(
    ("first", "last", "words"),
    [
        ("2027-03-12", "2027-05-04", "between 12 March and 4 May 2027"),
        ("2026-11-30", "2027-05-04", "between 30 November 2026 and 4 May 2027"),
    ],
)
def test_an_interval_names_a_shared_year_once(first, last, words):
    assert wording.due_sentence(day(first), day(last), today=TODAY) == words


@pytest.mark.parametrize(
    ("number_of_days", "words"),
    [
        (-3, "now"),
        (1, "in about 1 day"),
        (9, "in about 9 days"),
        (40, "in about 6 weeks"),
        (152, "in about 5 months"),
        (365, "in about 12 months"),
        (913, "in about 2½ years"),
        (1461, "in about 4 years"),
    ],
)
def test_a_span_is_said_coarser_the_longer_it_is(number_of_days, words):
    assert wording.about_days(number_of_days) == words


def test_a_date_beyond_the_horizon_says_so_and_follows_the_setting():
    assert wording.due_sentence(pd.NaT, pd.NaT, today=TODAY) == "beyond five years"
    short = wording.due_sentence(pd.NaT, pd.NaT, today=TODAY, horizon_days=365)
    assert short == "beyond one year"
    half = wording.due_sentence(day("2028-05-01"), pd.NaT, today=TODAY)
    assert half == "not before 1 May 2028, perhaps beyond five years"


def test_the_first_foot_is_said_only_as_likelier():
    assert wording.first_foot("left") == "left shoe first"
    assert wording.first_foot(None) == "both shoes about even"
    assert wording.first_foot(float("nan")) == "both shoes about even"


@given(first=days, more=st.integers(min_value=1, max_value=2000))
def test_no_interval_is_said_as_one_exact_date(first, more):
    p10 = TODAY + pd.Timedelta(days=first)
    words = wording.due_sentence(p10, p10 + pd.Timedelta(days=more), today=TODAY)
    assert words.startswith(("between", "now or by", "at its limit already"))


@given(probability=st.floats(min_value=0, max_value=1))
def test_no_chance_is_said_to_be_none_or_certain(probability):
    words = wording.chance(probability)
    assert words.endswith("%")
    assert not words.startswith(("0", "100", "about 0 ", "about 100 "))


@pytest.mark.parametrize("probability", [0.05, 0.1, 0.33, 0.5, 0.95])
def test_a_chance_is_said_within_five_per_cent_of_the_number(probability):
    percent = float(wording.chance(probability).removeprefix("about ").removesuffix(" %"))
    assert abs(percent - 100 * probability) <= 2.5


class TestDueList:
    def test_stands_in_the_order_of_the_send_by_dates(self):
        situation = rack(40)
        rows = due_list(situation.forecast, situation.log.pairs, situation.log.wearers, today=TODAY)
        send_by = situation.forecast[situation.forecast["foot"] == "pair"].set_index("pair_id")
        dates = send_by.loc[[row["pair_id"] for row in rows], "send_by"]
        assert dates.dropna().is_monotonic_increasing
        assert dates.isna().to_list() == sorted(dates.isna())

    @pytest.mark.parametrize("band", BANDS)
    def test_says_the_band_in_the_words_of_the_contract(self, band):
        situation = with_band(rack(3), "pair-001", band)
        rows = due_list(situation.forecast, situation.log.pairs, situation.log.wearers, today=TODAY)
        row = next(row for row in rows if row["pair_id"] == "pair-001")
        assert row["band"] == band
        assert bool(row["due"]) == (band not in ("away", "retired"))

    def test_holds_only_text_and_every_pair_even_one_without_a_forecast(self):
        situation = rack(5)
        forecast = situation.forecast[situation.forecast["pair_id"] != "pair-002"]
        rows = due_list(forecast, situation.log.pairs, situation.log.wearers, today=TODAY)
        assert {row["pair_id"] for row in rows} == set(situation.log.pairs["pair_id"])
        assert rows[-1]["pair_id"] == "pair-002"
        assert rows[-1]["reason"] == "no forecast yet"
        assert all(isinstance(value, str) for row in rows for value in row.values())
        assert not any("NaT" in v or "nan" in v for row in rows for v in row.values())


class TestWearsLeft:
    @staticmethod
    def _row(low, middle, high, **more):
        wears = {"wears_left_p10": low, "wears_left_p50": middle, "wears_left_p90": high}
        return {**wears, "band": "watch", "reason": ""} | more

    @pytest.mark.parametrize(
        ("wears", "words", "short"),
        [
            ((6.7, 9.4, 14.2), "about 9 wears left (6 to 14)", "~9 wears (6-14)"),
            ((1.2, 1.4, 1.9), "about 1 wear left", "~1 wear"),
            ((0, 0.4, 4.9), "under 1 wear left (0 to 4)", "~0 wears (0-4)"),
            ((0, 0, 0.4), "no wear left", "~0 wears"),
            ((53.9, 62.3, 117), "about 60 wears left (50 to 110)", "~60 wears (50-110)"),
        ],
    )
    def test_is_a_whole_number_of_wears_and_its_spread(self, wears, words, short):
        assert wears_left(self._row(*wears)) == words
        assert wears_short(self._row(*wears)) == short

    def test_says_nothing_where_nothing_is_known(self):
        assert wears_left(self._row(float("nan"), None, None)) == ""
        assert wears_left(self._row(6, 9, 14, band="away")) == ""

    def test_says_where_the_pace_alone_stands_behind_it(self):
        said = wears_left(self._row(6, 9, 14, reason="no check yet; no wear logged: judged by"))
        assert said.endswith("from the pace, as no wear is logged")


@pytest.mark.parametrize(
    ("free", "moved", "after", "said"),
    [
        (0, 0, 9.0, "No owner could be asked for another week."),
        (4, 0, 9.0, "no move would save a wait"),
        (4, 3, 2.0, "3 are. Work that waits for a later week falls from 9 to 2 hours"),
    ],
)
def test_the_plan_says_why_it_could_move_owners_or_not(free, moved, after, said):
    told = {"asked": 8, "free": free, "moved": moved}
    told |= {"carried_hours": 9.0, "carried_hours_levelled": after}
    assert said in levelling_words(told)
    assert "Nobody is asked" in levelling_words(None)
