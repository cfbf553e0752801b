"""Is everything that a customer reads in every language, and no catalogue out of date?"""

from __future__ import annotations

import os
import re
from datetime import date

import pytest

from solespan.dashboards.language import ENGLISH, LANGUAGES, language_of
from tests.dashboards.catalogue import messages, read_catalogue, write_catalogue

OTHERS = [code for code in LANGUAGES if code != "en"]
VALUES = re.compile(r"%\(\w+\)s|\{\{.*?\}\}")
MOST_WORDS = 25


@pytest.fixture(scope="module", params=OTHERS)
def catalogue(request):
    if os.environ.get("SOLESPAN_TEST_RECORD"):
        write_catalogue(request.param)
    return {message.id: message for message in read_catalogue(request.param) if message.id}


def test_no_message_is_untranslated_and_none_is_stale(catalogue):
    wanted = set(messages())
    assert len(wanted) > 100, "nothing was read"
    assert set(catalogue) == wanted, "record it: SOLESPAN_TEST_RECORD=1, then translate"
    for message in catalogue.values():
        said = message.string if isinstance(message.string, tuple) else (message.string,)
        assert all(said), f"no text for: {message.id}"
        assert not message.fuzzy


def test_a_translation_has_the_values_of_its_message_and_a_plural_for_each_number(catalogue):
    for message in catalogue.values():
        english = message.id if isinstance(message.id, tuple) else (message.id,)
        said = message.string if isinstance(message.string, tuple) else (message.string,)
        assert len(said) == len(english)
        wanted = sorted(VALUES.findall(english[-1]))
        assert all(sorted(VALUES.findall(one)) == wanted for one in said), message.id


def test_a_translation_is_as_plain_as_english(catalogue):
    for message in catalogue.values():
        for text in message.string if isinstance(message.string, tuple) else (message.string,):
            for sentence in re.split(r"(?<=[.!?:])\s", text):
                assert len(sentence.split()) <= MOST_WORDS, sentence


@pytest.mark.parametrize(
    ("words", "code"),
    [
        ((None, "de"), "de"),
        (("German", "en"), "de"),
        (("Deutsch (Wien)", "en"), "de"),
        (("de-AT", "en"), "de"),
        (("Klingon", "de"), "de"),
        ((None, None), "en"),
        (("", "xx"), "en"),
    ],
)
def test_a_language_is_found_by_code_or_name_else_the_shops_counts(words, code):
    assert language_of(*words).code == code


def test_dates_and_amounts_are_those_of_the_language():
    german, day = LANGUAGES["de"], date(2027, 3, 12)
    assert (ENGLISH.long_date(day), german.long_date(day)) == ("12 March 2027", "12. März 2027")
    assert (ENGLISH.third(day), german.third(day)) == ("mid-March", "Mitte März")
    assert ENGLISH.money(123_450, "CHF") == "1,234.50 CHF"
    assert german.money(123_450, "CHF") == "1.234,50 CHF"
    assert german.money(11_000, "EUR") == "110 EUR"


def test_a_day_is_said_the_coarser_the_further_it_is():
    today = date(2026, 11, 30)
    days = [date(2026, 12, 7), date(2027, 2, 21), date(2027, 10, 15), date(2029, 5, 1)]
    said = [ENGLISH.near_date(day, today) for day in days]
    assert said == ["Mon 7 Dec", "21 February", "mid-October 2027", "2029"]
    assert ENGLISH.near_date(date(2040, 1, 1), today) == "after 2031"
