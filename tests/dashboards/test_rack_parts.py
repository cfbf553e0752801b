"""Do the parts of the rack page say what is true: today, rotation, spread, search, thumb check."""

import numpy as np
import pandas as pd
import pytest

from solespan.dashboards.pages.forecasts.spread import most_within, spread_page
from solespan.dashboards.pages.planning.care import care_by_pair
from solespan.dashboards.pages.planning.rotation import ROTATION_DAYS, rotation
from solespan.dashboards.pages.rack.rack import search_for, who_is_meant
from solespan.dashboards.pages.rack.thumb import STEPS, thumb_page
from solespan.dashboards.pages.rack.today import today_panel
from tests.dashboards.builders import TODAY, of_one, rack, what_if, with_band


def days_ago(*wears):
    """Wear days of pairs, each (pair, days ago, wet)."""
    return pd.DataFrame(
        [
            {"pair_id": pair, "worn_on": TODAY - pd.Timedelta(days=ago), "wet": wet}
            for pair, ago, wet in wears
        ],
        columns=["pair_id", "worn_on", "wet"],
    ).astype({"worn_on": "datetime64[s]", "wet": bool})


def panel(*wears, situation=None, **more):
    situation = situation or all_sound(4)
    return today_panel(
        situation.forecast, situation.log.pairs, days_ago(*wears), today=TODAY, **more
    )


def all_sound(pairs):
    situation = of_one(rack(pairs))
    for pair_id in situation.log.pairs["pair_id"]:
        situation = with_band(situation, pair_id, "sound")
    return situation


PAIRS = ("pair-000", "pair-001", "pair-002", "pair-003")


class TestToday:
    def test_the_pair_that_rested_longest_comes_first(self):
        said = panel(*((p, 3 + i, False) for i, p in enumerate(PAIRS)))
        assert said["pick"]["pair_id"] == "pair-003"
        assert "Rested 5 days" in said["pick"]["reason"]
        assert [one["pair_id"] for one in said["others"]] == ["pair-002", "pair-001", "pair-000"]

    def test_a_wet_day_asks_for_one_more_day_of_rest(self):
        said = panel(*((p, 2, p != "pair-002") for p in PAIRS))
        assert said["pick"]["pair_id"] == "pair-002"
        assert "Rested only 1 day after a wet day" in said["others"][0]["reason"]

    def test_a_pair_to_be_booked_in_is_worn_only_when_no_other_has_rested(self):
        situation = with_band(all_sound(4), "pair-000", "book in")
        wears = [("pair-000", 20, False), *((p, 3, False) for p in PAIRS[1:])]
        assert panel(*wears, situation=situation)["pick"]["pair_id"] != "pair-000"
        tired = [("pair-000", 20, False), *((p, 1, False) for p in PAIRS[1:])]
        assert panel(*tired, situation=situation)["pick"]["pair_id"] == "pair-000"

    @pytest.mark.parametrize("band", ["stop wearing", "away", "retired"])
    def test_a_pair_that_must_not_or_cannot_be_worn_is_never_named(self, band):
        situation = with_band(all_sound(2), "pair-000", band)
        said = panel(("pair-001", 1, False), situation=situation)
        assert said["pick"]["pair_id"] == "pair-001"
        assert said["others"] == []

    def test_with_no_pair_fit_to_wear_none_is_named(self):
        assert panel(situation=with_band(all_sound(1), "pair-000", "away"))["pick"] is None
        assert panel(situation=rack(0))["pick"] is None

    def test_the_plan_s_word_comes_before_rest(self):
        plan = {"days": [{"worn_on": "2026-11-25", "pair_id": "pair-001", "dress_code": "casual"}]}
        reasons = [{"pair_id": "pair-001", "reason": "It is rested."}]
        said = panel(("pair-001", 1, False), plan=plan, reasons=reasons)
        assert said["pick"]["pair_id"] == "pair-001"
        assert said["pick"]["reason"] == "The plan says so. It is rested."
        assert "pair-001" not in {one["pair_id"] for one in said["others"]}

    def test_a_planned_pair_that_must_not_be_worn_any_more_is_left_aside(self):
        plan = {"days": [{"worn_on": "2026-11-25", "pair_id": "pair-001", "dress_code": "casual"}]}
        said = panel(plan=plan, situation=with_band(all_sound(2), "pair-001", "stop wearing"))
        assert said["pick"]["pair_id"] == "pair-000"

    def test_what_was_worn_today_is_said(self):
        said = panel(("pair-002", 0, False))
        assert [one["pair_id"] for one in said["worn"]] == ["pair-002"]


class TestRotation:
    def test_every_wear_of_eight_weeks_is_a_block_on_its_day_and_no_other(self):
        wears = (("pair-000", 0, False), ("pair-000", 55, True), ("pair-000", 56, False))
        said = rotation(days_ago(*wears), rack(2).log.pairs, today=TODAY)
        (strip,) = said["strips"]
        assert strip["dry"].startswith(f"M{ROTATION_DAYS - 1} ")
        assert strip["dry"].count("M") == 1
        assert strip["wet"].startswith("M0 ")
        assert strip["words"] == "2 days, 1 wet; last 25 Nov 2026"
        assert (said["worn_days"], said["pairs_worn"]) == (2, 1)

    def test_the_days_can_be_read_latest_first(self):
        wears = (("pair-000", 3, False), ("pair-001", 3, True), ("pair-001", 1, False))
        said = rotation(days_ago(*wears), rack(2).log.pairs, today=TODAY)
        assert [day["day"] for day in said["days"]] == ["Tue 24 Nov 2026", "Sun 22 Nov 2026"]
        assert said["days"][1]["pairs"] == "Brogue, chestnut no. 1, Chelsea, black no. 2 (wet)"

    def test_blocks_and_days_tell_of_the_same_wears(self):
        situation = rack(4)
        said = rotation(situation.log.wear_days, situation.log.pairs, today=TODAY)
        blocks = sum((s["dry"] + s["wet"]).count("M") for s in said["strips"])
        first = TODAY - pd.Timedelta(days=ROTATION_DAYS - 1)
        recent = situation.log.wear_days[situation.log.wear_days["worn_on"] >= first]
        assert blocks == len(recent)
        assert len(said["days"]) == recent["worn_on"].nunique()

    def test_many_pairs_on_one_day_are_counted_not_listed_for_ever(self):
        situation = rack(60)
        wears = days_ago(*((p, 2, False) for p in situation.log.pairs["pair_id"]))
        said = rotation(wears, situation.log.pairs, today=TODAY)
        assert said["days"][0]["pairs"].endswith("and 54 more")
        assert said["left_out"] == 60 - len(said["strips"])

    def test_what_was_counted_beside_the_pairs_shown_is_said(self):
        day = TODAY - pd.Timedelta(days=2)
        other = TODAY - pd.Timedelta(days=9)
        said = rotation(
            days_ago(("pair-000", 2, False)),
            rack(1).log.pairs,
            today=TODAY,
            by_day={day: 12, other: 1},
            pairs_worn=12,
        )
        assert [one["pairs"] for one in said["days"]] == [
            "Brogue, chestnut no. 1 and 11 more",
            "1 pair",
        ]
        assert (said["worn_days"], said["left_out"]) == (2, 11)


class TestSpread:
    def test_the_fullest_window_is_found_wherever_it_lies(self):
        rng = np.random.default_rng(5)
        for _ in range(5):
            days = pd.Series(TODAY + pd.to_timedelta(rng.integers(0, 400, 12), unit="D"))
            count, start = most_within(days, 90)
            within = [
                sum(0 <= (other - day).days < 90 for other in days)
                for day in pd.date_range(TODAY, periods=400)
            ]
            assert count == max(within)
            assert sum(0 <= (other - start).days < 90 for other in days) == count

    def test_no_date_is_no_window(self):
        assert most_within(pd.Series([pd.NaT], dtype="datetime64[s]")) == (0, None)

    def test_it_says_whether_the_plan_spreads_or_bunches_or_neither(self):
        frame = what_if(rack(8))
        now = frame["due_p50_now"]
        lead = self.lead(frame.assign(due_p50_then=now))
        assert "does not change" in lead
        apart = TODAY + pd.to_timedelta(120 * np.arange(len(frame)), unit="D")
        assert "the plan spreads them" in self.lead(frame.assign(due_p50_then=apart))
        together = pd.Series([TODAY + pd.Timedelta(days=200)] * len(frame))
        assert "it bunches them" in self.lead(frame.assign(due_p50_then=together))

    def lead(self, frame):
        return spread_page(frame, today=TODAY, wearer_id="ada")["lead"]

    def test_every_pair_has_a_row_also_beyond_the_horizon(self):
        frame = what_if(rack(8))
        frame.loc[3, "due_p50_then"] = pd.NaT
        rows = spread_page(frame, today=TODAY, wearer_id="ada")["rows"]
        assert {row["pair_id"] for row in rows} == set(frame["pair_id"])
        assert "beyond five years" in {row["then"] for row in rows}


class TestSearch:
    def test_every_word_must_be_found_in_name_or_identifier(self):
        found = search_for("BROGUE pair-000")
        assert found("Brogue, chestnut", "pair-000")
        assert not found("Brogue, chestnut", "pair-001")
        assert search_for("weiß")("WEISS", "p")
        assert search_for("pair")(None, "pair-000")
        assert search_for(" ") is None

    def test_words_of_pairs_and_parts_of_names_are_told_apart(self):
        log = rack(12).log
        wearers = pd.DataFrame(
            {"wearer_id": ["w1", "w2", "w3"], "name": ["Ada Quill", "Cy Quill", None]}
        )
        assert who_is_meant(log.pairs, wearers, "derby") == (None, "derby")
        assert who_is_meant(log.pairs, wearers, " ") == (None, "")
        both = {"w1": "Ada Quill", "w2": "Cy Quill"}
        assert who_is_meant(log.pairs, wearers, "Derby QUILL") == (both, "Derby")
        assert who_is_meant(log.pairs, wearers, "quill cy") == ({"w2": "Cy Quill"}, "")
        assert who_is_meant(log.pairs, wearers, "nobody") == ({}, "")


class TestThumb:
    def test_the_waist_of_each_shoe_comes_first_as_the_measure_for_the_rest(self):
        assert [s.field for s in STEPS if s.point == "waist"] == ["left-waist", "right-waist"]
        assert STEPS[0].point == STEPS[4].point == "waist"
        said = thumb_page({"left-waist": "give"})
        assert said["step"]["field"] == "left-ball"
        assert said["step"]["waist"] == "give"

    def test_answering_every_step_leads_to_the_end_with_all_that_was_felt(self):
        answers: dict[str, str] = {}
        for number in range(len(STEPS)):
            said = thumb_page(answers)
            assert said["step"]["number"] == number + 1
            answers[said["step"]["field"]] = "skip" if number % 2 else "soft"
        said = thumb_page(answers)
        assert said["step"] is None
        assert [one["grade"] for one in said["felt"]] == ["soft"] * 4

    def test_one_can_go_back_and_the_answers_stay(self):
        answers = {"left-waist": "firm", "left-ball": "give", "at": "left-waist"}
        said = thumb_page(answers)
        assert said["step"]["field"] == "left-waist"
        assert said["kept"] == {"left-ball": "give"}

    @pytest.mark.parametrize("odd", ["mushy", "", "<b>"])
    def test_an_answer_nobody_offered_counts_as_none(self, odd):
        assert thumb_page({"left-waist": odd})["step"]["field"] == "left-waist"

    def test_a_check_of_nothing_is_not_offered_to_be_logged(self):
        assert thumb_page({"end": "1"})["step"] is not None
        assert thumb_page(dict.fromkeys((s.field for s in STEPS), "skip"))["step"] is not None


def test_care_is_gathered_by_pair_in_the_order_it_came():
    items = [
        {"pair_id": p, "label": None, "care": c, "what": "brush it", "reason": "due"}
        for p, c in (("b", "brush"), ("a", "brush"), ("b", "condition"))
    ]
    said = care_by_pair(items)
    assert [(one["pair"], [c["care"] for c in one["cares"]]) for one in said] == [
        ("b", ["brush", "condition"]),
        ("a", ["brush"]),
    ]
    assert said[0]["cares"][0]["what"] == "Brush it."


class TestYesterday:
    def test_without_a_log_of_it_the_pair_of_the_plan_comes_first_then_the_most_worn(self):
        wears = [(PAIRS[2], ago, False) for ago in (3, 6, 9)] + [(PAIRS[1], 4, False)]
        plan = {"days": [{"worn_on": "2026-11-24", "pair_id": PAIRS[3], "dress_code": "casual"}]}
        said = panel(*wears, plan=plan)["yesterday"]
        assert said["worn"] == []
        assert [one["pair_id"] for one in said["likely"]] == [PAIRS[3], PAIRS[2], PAIRS[1]]

    def test_a_pair_worn_the_day_before_is_less_likely(self):
        wears = [(PAIRS[2], ago, False) for ago in (2, 6, 9)]
        assert panel(*wears)["yesterday"]["likely"][0]["pair_id"] != PAIRS[2]

    def test_what_is_logged_is_named_and_nothing_is_asked_where_no_pair_can_be_worn(self):
        said = panel((PAIRS[0], 1, False))["yesterday"]
        assert [one["pair_id"] for one in said["worn"]] == [PAIRS[0]]
        away = with_band(all_sound(1), PAIRS[0], "away")
        assert panel(situation=away)["yesterday"]["likely"] == []
