"""Can no wording and no customer's name break a notice?"""

from __future__ import annotations

import re
import tracemalloc
from html.parser import HTMLParser

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solespan.api.notices.bounded_rendering import MOST_CHARACTERS
from solespan.api.notices.template import (
    TemplateRefused,
    check_template,
    render_notice,
    sample_facts,
    shipped_template,
)
from solespan.api.notices.words import CAUTIONS, THUMB_CHECK

MOST_BYTES = 16 * 1024 * 1024
LINK = "{{ unsubscribe_link }}"


def with_part(part: str, source: str):
    return shipped_template().model_copy(update={part: source})


def test_the_shipped_wording_can_be_used_and_says_what_it_must():
    said = check_template(shipped_template())
    for part in (said.text, said.html):
        assert "between mid-March and early May" in part
        assert "https://shop.example/unsubscribe/sample" in part
        assert all(f"https://shop.example/answers/{p}" in part for p in ("book", "check"))
        assert THUMB_CHECK[1] in part
        assert CAUTIONS[0] in part
        assert "four times in five" in part
        assert "no photograph" in part


@pytest.mark.parametrize(
    ("part", "source", "line", "reason"),
    [
        ("text", "a\nb {{ pair.labl }}" + LINK, 2, "undefined"),
        ("text", "a\n{{ pairs[0].labl }}" + LINK, 2, "no attribute 'labl'"),
        ("text", "{{ pairs[9].label }}" + LINK, 1, "no element 9"),
        ("text", "\n\n{% if %}", 3, "Expected an expression"),
        ("text", "{% for p in pairs %}", 1, "Unexpected end of template"),
        ("text", LINK + "{% include 'x' %}", 1, "Include is not accepted"),
        ("text", LINK + "{% for i in range(9) %}{% endfor %}", 1, "Call is not accepted"),
        ("text", LINK + "\n{{ customer.name * 99 }}", 2, "Mul is not accepted"),
        ("text", LINK + "{{ customer.name|safe }}", 1, "No filter named 'safe'"),
        ("text", LINK + "{{ customer.name.__class__ }}", 1, "unsafe"),
        ("text", LINK + "{% macro m() %}{% endmacro %}", 1, "Macro is not accepted"),
        (
            "text",
            LINK + "{% for a in pairs %}{% for b in pairs %}{% for c in pairs %}x"
            "{% endfor %}{% endfor %}{% endfor %}",
            1,
            "too deep",
        ),
        ("text", "Come in!", None, "no link to stop these notices"),
        ("text", "{% if second %}" + LINK + "{% endif %}", None, "no link to stop these notices"),
        ("html", "Come in!", None, "no link to stop these notices"),
        ("subject", "{% if second %}x{% endif %}", None, "empty"),
        ("html", LINK + "{% autoescape false %}{% endautoescape %}", 1, "is not accepted"),
        ("html", LINK + "<script>1</script>", 1, "script is not accepted"),
        ("html", LINK + "\n<img src=x onerror='go()'>", 2, "would run something"),
        ("html", LINK + "<a href='javascript:go()'>x</a>", 1, "would run something"),
        ("html", LINK + '<a href="{{ customer.name }}">x</a>', 1, "would run something"),
        ("html", LINK + "<p title={{ customer.name }}>x</p>", None, "would"),
        ("html", LINK + "<p {{ customer.name }}>x</p>", None, "would"),
        ("html", LINK + '<p style="color:{{ customer.name }}">x</p>', 1, "a style may not"),
    ],
)
def test_a_wording_that_cannot_be_used_is_refused_with_part_line_and_reason(
    part, source, line, reason
):
    with pytest.raises(TemplateRefused) as caught:
        check_template(with_part(part, source))
    refused = caught.value
    assert reason in refused.what
    assert part in refused.where
    if line is not None:
        assert refused.where == f"{part}, line {line}"
    assert refused.remedy


@pytest.mark.parametrize(
    "source",
    [
        LINK + "{% for p in pairs %}{{ loop.index }}. {{ p.label|upper }}{% endfor %}",
        LINK + '<a href="{{ pairs[0].book_link }}">in</a>',
        LINK + "<p title='{{ customer.name }}'>{{ customer.name|default('you') }}</p>",
        LINK + "{% if pairs|length > 2 %}many{% elif not second %}few{% endif %}",
    ],
)
def test_plain_wordings_are_accepted(source):
    assert check_template(with_part("html", source)).html


class _Tags(HTMLParser):
    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, tuple[str, ...]]] = []
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, tuple(name for name, _ in attrs)))


@settings(max_examples=40)
@given(st.text(max_size=80), st.booleans())
def test_no_name_changes_the_shape_of_the_mail(name, second):
    plain = render_notice(shipped_template(), sample_facts("Ada", 2, second=second))
    wild = render_notice(shipped_template(), sample_facts(name, 2, second=second))
    assert _Tags(wild.html).tags == _Tags(plain.html).tags
    assert "\n" not in wild.subject
    assert "\r" not in wild.subject
    assert 0 < len(wild.subject) <= 200


def test_the_wording_in_a_second_notice_is_gentle_and_the_last():
    text = render_notice(shipped_template(), sample_facts("Ada", 1, second=True)).text
    assert re.search(r"This is our last notice about it", text)
    assert "not heard" not in text, "they may have told how the sole feels"


def test_a_value_that_fails_while_filling_in_leaves_nothing_half_done():
    broken = with_part("html", "{{ customer.name.nothing }}")
    with pytest.raises(TemplateRefused, match="html"):
        render_notice(broken, sample_facts("Ada", 1, second=False))


EACH = "{% for a in cautions|join %}"
POWERS = "{{ cautions|join(cautions|join(cautions|join(cautions|join(cautions)))) }}"


@pytest.mark.parametrize("part", ["text", "html"])
@pytest.mark.parametrize(
    "source",
    [
        EACH * 2 + "x" + "{% endfor %}" * 2,
        EACH * 2 + "{% endfor %}" * 2,
        EACH + POWERS + "{% endfor %}",
        EACH + "{{ " + "==".join("1" * 600) + " }}{% endfor %}",
        "{{ 'a'|join(" + "'" + "b" * 900 + "'|join('" + "c" * 900 + "')) }}",
        "{{ " + "not " * 4000 + "1 }}",
        "{{ " + "(" * 3000 + "1" + ")" * 3000 + " }}",
        "{% if 1 %}" * 500 + "{% endif %}" * 500,
        "{{ " + "9" * 5000 + " }}",
        "{{ cautions|join" + "|upper|lower" * 1500 + " }}",
    ],
)
def test_no_wording_multiplies_time_or_memory(part, source):
    tracemalloc.start()
    try:
        with pytest.raises(TemplateRefused):
            check_template(with_part(part, LINK + source))
        assert tracemalloc.get_traced_memory()[1] < MOST_BYTES
    finally:
        tracemalloc.stop()


def test_what_joins_in_joins_is_bounded_where_it_is_small_enough():
    assert len(check_template(with_part("text", LINK + POWERS)).text) <= MOST_CHARACTERS


@pytest.mark.parametrize("atom", ["<a ", "<!--", "<", "</a", "<a x='", "<i>"])
def test_open_elements_without_end_are_refused(atom):
    """Reading each of them to the end of the text would take minutes."""
    with pytest.raises(TemplateRefused, match="element"):
        check_template(with_part("html", LINK + atom * 6000))


def test_a_run_with_a_hundred_pairs_is_within_the_bounds():
    said = render_notice(shipped_template(), sample_facts("Ada", 100, second=True))
    assert said.html.count("Oxford of Ada") >= 100
