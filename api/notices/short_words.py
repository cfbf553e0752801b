"""Words of a short message: what does a notice say in two messages of a telephone?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from solespan.api.channels.sms import MOST_SEGMENTS
from solespan.api.channels.sms.gsm import count_segments, to_gsm
from solespan.dashboards.language import Language

__all__ = ["short_text"]

LEAST_LABEL = 12


def short_text(
    shop_name: str, pairs: Sequence[Mapping[str, Any]], unsubscribe: str, language: Language
) -> str:
    """Say that a pair is due, by when, and where to answer; what is too long is cut or left out.

    Both links stay whole. The shop's name and the pair's label are cut first, then the dates go.
    """
    pair, say = pairs[0], language.gettext
    ways = say("Answer: %(answer)s Stop: %(stop)s", answer=pair["book_link"], stop=unsubscribe)
    more = len(pairs) - 1
    beside = language.ngettext("and %(num)s more", "and %(num)s more", more) if more else ""
    dated = say("new sole %(when)s, %(bring_by)s", when=pair["when"], bring_by=pair["bring_by"])
    for said in (dated, say("new sole %(bring_by)s", bring_by=pair["bring_by"])):
        for most in range(60, LEAST_LABEL - 1, -4):
            named = " ".join(filter(None, [_cut(pair["label"], most), beside]))
            text = to_gsm(f"{_cut(shop_name, most)}: {named}: {said}. {ways}")
            if count_segments(text) <= MOST_SEGMENTS:
                return text
    return to_gsm(f"{_cut(shop_name, LEAST_LABEL)}: {_cut(pair['label'], LEAST_LABEL)}. {ways}")


def _cut(text: str, most: int) -> str:
    return text if len(text) <= most else f"{text[: most - 3].rstrip()}..."
