"""Can a link in a notice be neither forged, nor used for another purpose, nor used for ever?"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from solespan.api.notices.links import (
    PURPOSES,
    Link,
    LinkExpired,
    LinkForged,
    form_token,
    read_link,
    sign_link,
)

NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)
SECRET = "5e" * 32
NOTICE = "c0ffee" + 26 * "0"
LINKS = st.builds(
    Link,
    st.sampled_from(PURPOSES),
    st.integers(0, 2**32 - 1),
    st.uuids(version=4).map(lambda u: u.hex),
    st.integers(0, 2**16 - 1),
    st.integers(1, 10**8).map(lambda s: NOW + timedelta(seconds=s)),
)


@given(LINKS)
def test_a_link_says_what_was_put_in(link):
    token = sign_link(link, SECRET)
    assert read_link(token, SECRET, NOW) == link
    assert token.isascii()
    assert len(token) < 80


@given(LINKS, st.data())
def test_no_changed_letter_passes(link, data):
    token = sign_link(link, SECRET)
    i = data.draw(st.integers(0, len(token) - 1))
    letter = data.draw(st.sampled_from("ABCxyz019-_").filter(lambda c: c != token[i]))
    with pytest.raises(LinkForged):
        read_link(token[:i] + letter + token[i + 1 :], SECRET, NOW)


@given(st.text(max_size=90))
def test_no_text_is_a_link(text):
    with pytest.raises(LinkForged):
        read_link(text, SECRET, NOW)


def test_another_secret_opens_nothing_and_purposes_differ():
    link = Link("book", 1, NOTICE, 0, NOW + timedelta(days=1))
    with pytest.raises(LinkForged):
        read_link(sign_link(link, SECRET), SECRET + "x", NOW)
    tokens = {sign_link(replace(link, purpose=p), SECRET) for p in PURPOSES}
    assert len(tokens) == len(PURPOSES)
    assert form_token(sign_link(link, SECRET), SECRET) not in tokens


def test_a_link_ends():
    token = sign_link(Link("book", 1, NOTICE, 0, NOW), SECRET)
    assert read_link(token, SECRET, NOW)
    with pytest.raises(LinkExpired):
        read_link(token, SECRET, NOW + timedelta(seconds=1))
