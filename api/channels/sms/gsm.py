"""GSM 03.38: which letters does a short message hold, and how many messages is a text?

The default alphabet and its extension are those of 3GPP TS 23.038, sections 6.2.1 and 6.2.1.1. A
message holds 160 septets. One of several holds 153: a header takes the rest (TS 23.040, 9.2.3.24).
"""

from __future__ import annotations

import unicodedata

__all__ = ["ALPHABET", "count_segments", "count_septets", "to_gsm"]

ALPHABET = (
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?"
    "¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
EXTENSION = "\f^{}\\[~]|€"  # each takes an escape before it
ALONE, IN_SEVERAL = 160, 153
# dashes and quotation marks of print, and what a telephone writes for each
_LIKE = {
    **dict.fromkeys("\u2013\u2014\u2212", "-"),
    **dict.fromkeys("\u2018\u2019\u201a", "'"),
    **dict.fromkeys("\u201c\u201d\u201e\u00ab\u00bb", '"'),
    "\u2026": "...",
}


def to_gsm(text: str) -> str:
    """Write a text in the default alphabet: what it lacks loses its accent, or becomes `?`."""
    return "".join(_like(letter) for letter in text)


def _like(letter: str) -> str:
    if letter in ALPHABET or letter in EXTENSION:
        return letter
    if letter in _LIKE:
        return _LIKE[letter]
    if letter.isspace():
        return " "
    plain = unicodedata.normalize("NFKD", letter)
    kept = "".join(one for one in plain if one in ALPHABET)
    return kept or ("" if unicodedata.combining(letter) else "?")


def count_septets(text: str) -> int:
    """Count the septets of a text in the default alphabet."""
    return sum(2 if letter in EXTENSION else 1 for letter in text)


def count_segments(text: str) -> int:
    """Count the messages that a text is sent as.

    A letter of the extension is not parted from its escape, so a full message may end one early.
    """
    if count_septets(text) <= ALONE:
        return 1
    segments, room = 1, IN_SEVERAL
    for letter in text:
        width = 2 if letter in EXTENSION else 1
        if width > room:
            segments, room = segments + 1, IN_SEVERAL
        room -= width
    return segments
