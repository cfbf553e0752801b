"""Are the right pairs written about, and is there a reason for each that is not?"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solespan.api.notices.decide import (
    BARRED,
    CUSTOMER_COLUMNS,
    PAIR_COLUMNS,
    REASONS,
    decide,
    reason_words,
)
from solespan.api.schemas.notices.notices import NoticeRules

TODAY = pd.Timestamp("2026-11-25")
RULES = NoticeRules()


def day(days: float | None) -> pd.Timestamp:
    return pd.NaT if days is None else TODAY + pd.Timedelta(days=days)


def pair(pair_id: str = "oxford", book_in: float | None = 10, **more: object) -> dict:
    """A pair with its book-by date so many days ahead, and its send-by date two weeks later."""
    plain = {
        "pair_id": pair_id,
        "wearer_id": "ada",
        "sole_id": f"{pair_id}-1",
        "as_of": TODAY,
        "band": "book in",
        "send_by": day(None if book_in is None else book_in + 14),
        "book_by": day(book_in),
        "chance": 0.1,
        "chance_in_use": 0.9,
        "ask_on": pd.NaT,
        "busy": None,
        "told_sole_id": None,
        "told_window": None,
        "told_sequence": None,
        "told_day": pd.NaT,
        "told_on": pd.NaT,
        "evidence_on": pd.NaT,
        "answer": None,
        "waiting": None,
        "lost_sole_id": None,
        "lost_window": None,
    }
    return plain | more


def told(days_ago: float, *, sequence: int = 1, told_day: float = 10, **more: object) -> dict:
    """What a pair remembers of a notice."""
    return {
        "told_sole_id": "oxford-1",
        "told_window": 1,
        "told_sequence": sequence,
        "told_day": day(told_day),
        "told_on": day(-days_ago),
        **more,
    }


def customer(wearer_id: str = "ada", **more: object) -> dict:
    plain = {
        "wearer_id": wearer_id,
        "today": TODAY,
        "channel": "mail",
        "barred": None,
        "heard_on": pd.NaT,
    }
    return plain | more


def decided(*pairs: dict, who: list[dict] | None = None, rules: NoticeRules = RULES):
    frame = pd.DataFrame(pairs, columns=list(PAIR_COLUMNS))
    people = pd.DataFrame(who or [customer()], columns=list(CUSTOMER_COLUMNS))
    return decide(frame, people, rules)


def why(*pairs: dict, **more: object) -> str:
    return decided(*pairs, **more)["why"].iloc[0]


@pytest.mark.parametrize(
    ("given", "reason"),
    [
        (pair(), "due"),
        (pair(band=None), "no forecast"),
        (pair(band="retired"), "retired"),
        (pair(band="away"), "at the bench"),
        (pair(busy="at the bench"), "at the bench"),
        (pair(busy="booked"), "booked"),
        (pair(chance_in_use=0.49), "gone"),
        (pair(chance_in_use=0.5), "due"),
        (pair(chance_in_use=None), "due"),
        (pair(as_of=day(-20)), "stale"),
        (pair(book_in=None), "beyond"),
        (pair(band="sound"), "not asked"),
        (pair(book_in=29), "early"),
        (pair(book_in=28), "due"),
        (pair(book_in=-100), "due"),
        (pair(book_in=200, band="stop wearing"), "due"),
        (pair(**told(20)), "second later"),
        (pair(**told(42)), "second"),
        (pair(**told(42, answer="declined")), "answered"),
        (pair(**told(42, answer="elsewhere")), "answered"),
        (pair(**told(42, answer="checked")), "second"),
        (pair(**told(400, sequence=2)), "silent"),
        (pair(**told(1, told_sole_id="an older sole")), "due"),
    ],
)
def test_each_pair_has_its_reason(given, reason):
    assert why(given) == reason


@pytest.mark.parametrize("barred", BARRED)
def test_nobody_is_written_to_who_cannot_or_does_not_want_to_be(barred):
    out = decided(pair(), who=[customer(barred=barred, channel=None)])
    assert out["why"].tolist() == [barred]
    assert out["verdict"].tolist() == ["no"]


def test_at_most_one_notice_in_so_many_weeks():
    assert why(pair(), who=[customer(heard_on=day(-41))]) == "too soon"
    assert why(pair(), who=[customer(heard_on=day(-42))]) == "due"


def test_pairs_that_follow_soon_come_along_and_others_do_not():
    out = decided(pair("a", 10), pair("b", 50), pair("c", 60), pair("d", 50, wearer_id="bo"),
                  who=[customer(), customer("bo")])  # fmt: skip
    assert out["verdict"].tolist() == ["notice", "along", "no", "no"]


def test_nothing_comes_along_when_the_customer_is_not_written_to():
    out = decided(pair("a", 10), pair("b", 50), who=[customer(heard_on=day(-1))])
    assert out["why"].tolist() == ["too soon", "early"]


def test_after_the_second_notice_there_is_silence_until_something_new_moves_the_day_far_away():
    silent = told(300, sequence=2, told_day=-200)
    assert why(pair(book_in=-120, **silent)) == "silent"
    assert why(pair(book_in=10, **silent)) == "silent", "the sole lasts, and nothing was seen of it"
    assert why(pair(book_in=10, **silent, evidence_on=day(-301))) == "silent", "seen before"
    assert why(pair(book_in=-120, **silent, evidence_on=day(-30))) == "silent", "seen, not moved"
    again = decided(pair(book_in=10, **silent, evidence_on=day(-30)))
    assert again["why"].tolist() == ["due"]
    assert (again["window"].iloc[0], again["sequence"].iloc[0]) == (2, 1)


def test_a_silent_sole_has_one_notice_and_one_reminder_however_long_it_lasts():
    """The stated day moves back as the sole lasts; told again every half year, if anybody would."""
    written, last = [], {}
    for _ in range(200):
        row = pair(book_in=20, **last)
        out = decided(row).iloc[0]
        if out["verdict"] != "no":
            written.append(out["sequence"])
            last = told(0, sequence=out["sequence"], told_day=20)
        elif last:
            last |= {name: last[name] - pd.Timedelta(days=14) for name in ("told_on", "told_day")}
    assert written == [1, 2]


def test_what_was_lost_does_not_count_but_takes_its_place():
    """A second notice was lost: it is due again; the first of a sole was: the next is its first."""
    lost = {"lost_sole_id": "oxford-1", "lost_window": 1}
    out = decided(pair(**told(60), **lost))
    assert out[["why", "window", "sequence"]].to_numpy().tolist() == [["second", 2, 2]]
    out = decided(pair(**lost))
    assert out[["why", "window", "sequence"]].to_numpy().tolist() == [["due", 2, 1]]
    out = decided(pair(**{**lost, "lost_sole_id": "oxford-0", "lost_window": 3}))
    assert out[["why", "window", "sequence"]].to_numpy().tolist() == [["due", 1, 1]]


def test_who_wants_no_notice_about_a_sole_gets_none_however_its_dates_move():
    declined = told(100, answer="declined", told_day=-90)
    assert why(pair(**declined)) == "answered"
    assert why(pair(sole_id="oxford-2", **declined)) == "due", "that was about another sole"


def test_nothing_follows_a_notice_that_has_not_gone_out():
    assert why(pair(**told(60, waiting=True))) == "waiting"
    assert why(pair(**told(60, waiting=False))) == "second"


def test_no_second_notice_where_the_rules_want_none():
    rules = NoticeRules(second_after_weeks=0)
    assert why(pair(**told(400)), rules=rules) == "silent"


def test_a_chance_counts_in_any_band():
    rules = NoticeRules(bands=[], chance_at_least=0.3)
    assert why(pair(band="sound", chance=0.3), rules=rules) == "due"
    assert why(pair(band="book in", chance=0.29), rules=rules) == "not asked"


def test_the_days_are_counted_to_what_the_rules_say():
    rules = NoticeRules(ahead_of="send_by", weeks_ahead=2)
    assert why(pair(book_in=0), rules=rules) == "due"
    assert why(pair(book_in=1), rules=rules) == "early"


def test_a_bench_plan_asks_earlier_and_never_later():
    assert why(pair(book_in=58)) == "early"
    earlier = decided(pair(book_in=58, ask_on=day(58 + 14 - 30)))
    assert earlier["why"].tolist() == ["due"]
    assert earlier["day"].iloc[0] == day(28)
    assert why(pair(book_in=20, ask_on=day(300))) == "due"
    assert why(pair(book_in=58, ask_on=day(42)), rules=NoticeRules(levelled=False)) == "early"


def test_the_day_is_that_of_the_customer():
    out = decided(pair(book_in=29), who=[customer(today=day(1))])
    assert out["why"].tolist() == ["due"]


def test_every_reason_reads_as_a_sentence_with_its_day():
    assert all("{" not in reason_words(name, TODAY) for name in REASONS)
    out = decided(pair(book_in=40))
    assert reason_words("early", out["why_day"].iloc[0]) == "its time comes on 2026-12-07"


def test_an_empty_shop_decides_nothing():
    out = decide(
        pd.DataFrame(columns=list(PAIR_COLUMNS)),
        pd.DataFrame(columns=list(CUSTOMER_COLUMNS)),
        RULES,
    )
    assert out.empty


PAIRS = st.lists(
    st.fixed_dictionaries(
        {
            "book_in": st.one_of(st.none(), st.integers(-300, 600)),
            "band": st.sampled_from([None, "sound", "watch", "book in", "stop wearing", "away"]),
            "busy": st.sampled_from([None, "booked", "at the bench"]),
            "wearer_id": st.sampled_from(["ada", "bo", "cy"]),
        }
    ),
    min_size=1,
    max_size=12,
)


@settings(max_examples=25)
@given(PAIRS)
def test_what_holds_for_any_shop(drawn):
    pairs = [pair(f"p{i}", **given) for i, given in enumerate(drawn)]
    who = [customer(), customer("bo", heard_on=day(-3)), customer("cy", barred="no consent")]
    out = decided(*pairs, who=who)
    assert out["pair_id"].tolist() == [p["pair_id"] for p in pairs]
    written = out[out["verdict"] != "no"]
    assert set(written["wearer_id"]) <= {"ada"}
    assert set(out["why"]) <= set(REASONS)
    assert not written["day"].isna().any()
    with_main = set(out["wearer_id"][out["verdict"] == "notice"])
    assert set(written["wearer_id"]) == with_main, "nothing comes along with nothing"
    at_rest = [p["pair_id"] for p in pairs if p["busy"] or p["band"] in (None, "away", "sound")]
    assert not set(written["pair_id"]) & set(at_rest)
    shuffled = np.random.default_rng(1).permutation(len(pairs))
    again = decided(*[pairs[i] for i in shuffled], who=who)
    pd.testing.assert_frame_equal(
        again, out.iloc[shuffled].reset_index(drop=True), check_dtype=False
    )
