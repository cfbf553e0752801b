"""Plain language: is every sentence that a person can read short, and free of our own slang?

Limits: at most 25 words a sentence, a median of at most 14 by kind of text. `PLAIN` lists words
that we no longer use, and what to write instead.
"""

from __future__ import annotations

import ast
import re
from statistics import median

import pytest

from tests.language import Sentence, everything, first_lines
from tests.prose import comments, docstrings, prose_of_code

MOST_WORDS = 25
MOST_MEDIAN = 14
PLAIN = {
    r"\blean(s|ing)? on\b": "is based mostly on",
    r"\bslips?\b(?! on)": "likely misreading",
    r"\bset aside\b": "ignored",
    r"\beven chance\b": "middle estimate",
    r"\bplan anew\b": "make a new plan",
    r"\banew\b": "again",
    r"\bor else\b": "other choices",
    r"\bmend(ed)?\b": "correct",
    r"\bforget the refused\b": "delete what was refused",
    r"\bnothing stands\b": "page not found",
    r"\bnobody is due\b": "no notices are due",
    r"\bhear no more\b": "stop these notices",
    r"\blast word\b": "last notice",
    r"\bwho was worn\b": "wears of the last weeks",
    r"\bwhose feet wear\b": "who wears it?",
    r"\bat the wheel \(": "driving",
    r"\bheld against\b": "compared with",
    r"\blikelier the\b": "left shoe first",
    r"\beither foot first\b": "both shoes about even",
    r"\bspeaks? TLS\b": "handles TLS",
    r"\bgauge has told\b": "a gauge can identify",
    r"\btells? each other\b": "exchange",
    r"^who (belongs|has|knows|loses|uses|reads|sends|forgot)\b[^?]*\.$": "name the person",
    r"\bwhoever\b": "anyone who, or name the person",
    r"\bconstruction stands\b": "construction allows",
    r"\bcounted back\b": "back about",
}
LONG = "Much of what a " + "very " * MOST_WORDS + "long sentence says is lost."
DOCSTRING = f"""{LONG}

Parameters
----------
few : int
    {LONG}

Raises `Refused`. {LONG}

Returns
-------
DataFrame
    {LONG}
"""
EVERYTHING = everything() | prose_of_code()


def _lines(sentences: list[Sentence]) -> str:
    return "\n".join(f"{one.place}: {one.text}" for one in sentences)


@pytest.mark.parametrize("kind", EVERYTHING)
def test_every_sentence_is_short(kind):
    found = EVERYTHING[kind]
    assert found, "nothing was read"
    long = [one for one in found if one.words > MOST_WORDS]
    assert not long, f"more than {MOST_WORDS} words:\n{_lines(long)}"
    assert median(one.words for one in found) <= MOST_MEDIAN


@pytest.mark.parametrize("unwanted", PLAIN)
def test_no_sentence_uses_a_word_that_we_gave_up(unwanted):
    pattern = re.compile(unwanted, re.IGNORECASE)
    found = [one for kind in EVERYTHING.values() for one in kind if pattern.search(one.text)]
    assert not found, f"write instead: {PLAIN[unwanted]}\n{_lines(found)}"


def test_the_head_of_a_module_begins_with_a_noun():
    """A reader greps for Kalman, Schur or expectation propagation, not for How or Which."""
    question = re.compile(r"(What|How|Which|When|Who|Whose|Where|Does|Do|Can|Is|Are|May|Why)\s")
    wrong = [place for place, line in first_lines() if question.match(line)]
    assert not wrong


def test_prose_is_found_beside_lists_of_parameters_and_columns():
    tree = ast.parse(f"def find():\n    {DOCSTRING!r}\n")
    assert [one.text for one in docstrings(tree, "")].count(LONG) == 2


def test_a_comment_runs_over_its_lines_but_not_into_the_next_one():
    half, rest = LONG[:44], LONG[45:]
    code = f"# {half}\n# {rest}\nfirst = 1  # of a few words\nother = 2  # of a few more\n"
    assert [one.text for one in comments(code, "")] == [LONG, "of a few words", "of a few more"]
