"""Words of a customer's page: what does it say of each pair's dates and of each way to write?"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

import pandas as pd

from solespan.api.notices.pair_words import felt_words
from solespan.api.notices.words import bring_by, due_window, how_sure
from solespan.dashboards.language import Language, gettext_noop

__all__ = ["pairs_in_words", "way_sentence"]

_WAYS = {
    "mail": gettext_noop("You may write to me by e-mail when a pair is due"),
    "print": gettext_noop("You may write me a letter when a pair is due"),
    "sms": gettext_noop("You may write me an SMS when a pair is due"),
}
_OTHER = gettext_noop("You may write to me another way when a pair is due")


def pairs_in_words(
    mine: Mapping[str, Any], today: date, language: Language
) -> dict[str, dict[str, Any]]:
    """Say of each pair when it is due and what was felt.

    `mine` has `pairs`, `forecast` (a frame) and `looks` by pair.
    """
    frame = mine["forecast"]
    rows = frame[(frame["foot"] == "pair") & (frame["point"] == "ball")].to_dict("records")
    said: dict[str, dict[str, Any]] = {
        pair["pair_id"]: {"felt": felt_words(mine["looks"].get(pair["pair_id"]), today, language)}
        for pair in mine["pairs"]
    }
    for row in rows:
        interval = (_day(row["due_p10"]), _day(row["due_p90"]), today, language)
        said.get(row["pair_id"], {}).update(
            when=due_window(*interval),
            sure=how_sure(*interval),
            bring_by=bring_by(_day(row["send_by"]), today, language),
        )
    return said


def way_sentence(channel: str, language: Language) -> str:
    """Say what a customer agrees to by ticking a way."""
    return language.gettext(_WAYS.get(channel, _OTHER))


def _day(value: Any) -> date | None:
    return None if value is None or pd.isna(value) else pd.Timestamp(value).date()
