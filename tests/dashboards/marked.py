"""An invented language that marks each message: what has no mark was never translated."""

from __future__ import annotations

import re
from html.parser import HTMLParser

from solespan.dashboards.language import LANGUAGES, Language


class Shown(HTMLParser):
    """Text that a reader sees or hears, without what a form sends."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.pieces: list[str] = []
        self._silent = 0
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        self._silent += tag in ("style", "script", "svg")
        self.pieces += [v for k, v in attrs if k in ("aria-label", "alt", "placeholder") and v]

    def handle_endtag(self, tag):
        self._silent -= tag in ("style", "script", "svg")

    def handle_data(self, data):
        if not self._silent and data.strip():
            self.pieces.append(data.strip())


class Marked(Language):
    """German with a mark around each message."""

    def gettext(self, message, /, **values):
        return f"⟦{super().gettext(message, **values)}⟧" if message else ""

    def ngettext(self, one, many, count, /, **values):
        return f"⟦{super().ngettext(one, many, count, **values)}⟧"


def marked_language() -> Language:
    """Return the invented language."""
    german = LANGUAGES["de"]
    return Marked("de", "German", "Deutsch", german.locale, german.messages)


def unmarked(html: str, known: str) -> list[str]:
    """Return the pieces of a page with words outside the marks; `known` matches data."""
    found = []
    for piece in Shown(html).pieces:
        left = piece
        while "⟦" in left:  # the innermost first: a message may stand in a message
            left = re.sub(r"⟦[^⟦⟧]*⟧", "", left)
        if re.search(r"[^\W\d_]{2,}", re.sub(known, "", left)):
            found.append(piece)
    return found
