"""Is a short message what a telephone can hold, and does it keep both its links?"""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solespan.api.channels.message import DeliveryError
from solespan.api.channels.sms import MOST_SEGMENTS
from solespan.api.channels.sms.gsm import ALPHABET, count_segments, count_septets, to_gsm
from solespan.api.notices.short_words import short_text
from solespan.dashboards.language import LANGUAGES
from tests.api.notices.channels.test_channels import Bench, bench, message

__all__ = ["bench"]
TOKEN = "A" * 55  # as long as a link's
NUMBER = "+4312345678"


@pytest.mark.parametrize(
    ("text", "septets", "segments"),
    [
        ("", 0, 1),
        ("a" * 160, 160, 1),
        ("a" * 161, 161, 2),
        ("a" * 306, 306, 2),
        ("a" * 307, 307, 3),
        ("€" * 80, 160, 1),
        ("€" * 81, 162, 2),
        ("a" * 152 + "€" + "a" * 152, 306, 3),  # the pair of the sign is not parted
    ],
)
def test_messages_are_counted_as_the_standard_does(text, septets, segments):
    """3GPP TS 23.038 and TS 23.040: 160 septets alone, 153 in each of several."""
    assert (count_septets(text), count_segments(text)) == (septets, segments)


def test_the_alphabet_has_its_127_letters_once_each():
    """TS 23.038, 6.2.1: 128 places, one of which is the escape."""
    assert len(ALPHABET) == len(set(ALPHABET)) == 127
    assert to_gsm("Größing, Łódź \u2013 \u201eSohle\u201c \u2026") == 'Größing, ?odz - "Sohle" ...'


@settings(max_examples=60)
@given(
    st.text(max_size=200),
    st.text(max_size=200),
    st.integers(1, 30),
    st.sampled_from(sorted(LANGUAGES)),
    st.integers(5, 40),
)
def test_whatever_the_names_a_notice_is_two_messages_with_both_links(shop, label, n, code, host):
    base = f"https://{'s' * host}.example"
    pair = {"label": label, "when": "between late September and early December 2027"}
    pair |= {"bring_by": "by 30 September 2027", "book_link": f"{base}/answers/{TOKEN}"}
    stop = f"{base}/unsubscribe/{TOKEN}"
    text = short_text(shop, [pair] * n, stop, LANGUAGES[code])
    assert count_segments(text) <= MOST_SEGMENTS
    assert text == to_gsm(text)
    assert pair["book_link"] in text
    assert stop in text


def test_the_hook_gets_number_text_and_count_signed(bench):
    made = bench("sms")
    made.channel.send(message(address=NUMBER, text="Neue Sohle für \u201eOxford\u201c\n"))
    (told,) = made.hook.bodies()
    assert (told["kind"], told["to"], told["segments"]) == ("sms", NUMBER, 1)
    assert told["text"] == 'Neue Sohle für "Oxford"'
    assert made.hook.posts[0][0]["webhook-signature"].startswith("v1,")
    assert "name" not in told, "no more than the message needs"


@pytest.mark.parametrize(
    "more", [{"address": "ada@mail.example"}, {"address": NUMBER, "text": "x" * 400}]
)
def test_what_no_telephone_takes_is_refused_for_good(bench, more):
    made: Bench = bench("sms")
    with pytest.raises(DeliveryError) as caught:
        made.channel.send(message(**more))
    assert caught.value.permanent
    assert made.arrived() == 0
