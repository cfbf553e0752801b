"""Words of letters: what stands on a letter besides its text, in the language it was written in?"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from solespan.api.schemas.notices.notices import NoticeRules
from solespan.dashboards.language import LANGUAGES, Language, gettext_noop, language_of

__all__ = ["code_words", "letter_text", "letter_words"]

_CODES = (
    (gettext_noop("Book it in"), "book_link"),
    (gettext_noop("The thumb check"), "check_link"),
)


def letter_words(payload: Mapping[str, Any], day: date, shop: str) -> dict[str, Any]:
    """Say the day and the greeting at the end; `shop` is the code of the shop's language."""
    language = _language(payload, shop)
    return {
        "language": language.code,
        "day": language.long_date(day),
        "regards": language.gettext("Kind regards"),
    }


def letter_text(row: Mapping[str, Any], rules: NoticeRules) -> str:
    """Write a letter as plain text: letterhead, address, day, subject, text, signature."""
    words = letter_words(row["payload"], row["made_at"].date(), rules.language)
    to = [row["name"] or "", *(row["address"] or "").splitlines()]
    parts = [
        f"{rules.shop_name}\n{rules.shop_contact}",
        "\n".join(line for line in to if line),
        words["day"],
        row["payload"]["subject"],
        row["payload"]["text"].strip(),
        f"{words['regards']}\n\n\n{rules.shop_name}\n",
    ]
    return "\n\n".join(parts)


def code_words(payload: Mapping[str, Any], shop: str) -> list[tuple[str, str]]:
    """Name what a letter's reader can scan: two answers about each pair, and the way out."""
    say = _language(payload, shop).gettext
    asked = [
        (f"{say(what)}: {pair['label']}", pair[link])
        for pair in payload["pairs"]
        for what, link in _CODES
    ]
    return [*asked, (say("Stop these notices"), payload["unsubscribe"])]


def _language(payload: Mapping[str, Any], shop: str) -> Language:
    return LANGUAGES.get(payload.get("language", ""), language_of(shop))
