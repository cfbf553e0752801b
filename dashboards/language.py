"""Message catalogues: how are texts, dates and amounts said in a customer's language?

An English text is its own id (gettext). The catalogues stand beside this module as PO files and are
read once, so nothing compiled can be older than its source. Dates, numbers and plurals are Babel's.
"""

from __future__ import annotations

import gettext as catalogues
import re
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from functools import cache
from importlib.resources import files
from io import BytesIO

from babel import Locale
from babel.dates import format_date, format_skeleton
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po
from babel.numbers import format_decimal

__all__ = ["ENGLISH", "LANGUAGES", "Language", "gettext_noop", "language_of"]

LOCALES = {"en": "en_GB", "de": "de"}
NEAR_DAYS, DAY_DAYS, THIRD_DAYS, LAST_DAYS = 14, 90, 548, 1826


@dataclass(frozen=True, eq=False)
class Language:
    """A language that customers read.

    code : str
        As in the `lang` of a page: `en`, `de`.
    name, own_name : str
        What staff call it in English, and what its speakers call it.
    """

    code: str
    name: str
    own_name: str
    locale: Locale
    messages: catalogues.NullTranslations

    def gettext(self, message: str, /, **values: object) -> str:
        """Say a message, with values in place of `%(name)s`."""
        said = self.messages.gettext(message) if message else ""
        return said % values if values else said

    def ngettext(self, one: str, many: str, count: int, /, **values: object) -> str:
        """Say a message about a number of things, which stands in it as `%(num)s`."""
        said = self.messages.ngettext(one, many, count)
        return said % {"num": self.number(count), **values}

    def number(self, value: float, digits: int = 0) -> str:
        """Write a number with so many decimals."""
        pattern = "#,##0." + "0" * digits if digits else "#,##0"
        return format_decimal(value, pattern, locale=self.locale)

    def money(self, minor: int, currency: str) -> str:
        """Write an amount: 110 EUR, 85.50 EUR."""
        amount = Decimal(minor) / 100
        return f"{self.number(amount, 0 if minor % 100 == 0 else 2)} {currency}"  # type: ignore[arg-type]

    def long_date(self, day: date) -> str:
        """Say a day in full: 12 March 2027."""
        return format_date(day, "long", locale=self.locale)

    def full_date(self, day: date) -> str:
        """Say a day with its weekday: Tuesday 8 December 2026."""
        return format_date(day, "full", locale=self.locale).replace(",", "")

    def day_and_month(self, day: date) -> str:
        """Say a day of a year that is known: 12 March."""
        return format_skeleton("MMMMd", day, locale=self.locale)

    def third(self, day: date, *, year: bool = False) -> str:
        """Say a day no finer than a third of a month: mid-March, with the year if it is asked."""
        month = format_date(day, "LLLL yyyy" if year else "LLLL", locale=self.locale)
        if day.day <= 10:
            return self.gettext("early %(month)s", month=month)
        if day.day <= 20:
            return self.gettext("mid-%(month)s", month=month)
        return self.gettext("late %(month)s", month=month)

    def near_date(self, day: date, today: date) -> str:
        """Say a day the coarser the further it is: Mon 7 Dec, 21 March, mid-March 2027, 2029."""
        ahead = abs((day - today).days)
        if ahead <= NEAR_DAYS:
            return format_skeleton("MMMEd", day, locale=self.locale)
        if ahead <= DAY_DAYS:
            return self.day_and_month(day)
        if ahead <= THIRD_DAYS:
            return self.third(day, year=True)
        if ahead <= LAST_DAYS:
            return str(day.year)
        return self.gettext("after %(year)s", year=(today + timedelta(days=LAST_DAYS)).year)


def gettext_noop(message: str) -> str:
    """Mark a message that is said later, so that a catalogue must hold it."""
    return message


@cache
def _language(code: str) -> Language:
    locale = Locale.parse(LOCALES[code])
    spoken = Locale.parse(code)
    names = (str(spoken.get_language_name("en")), str(spoken.get_language_name(code)))
    return Language(code, *names, locale, _messages(code))


def _messages(code: str) -> catalogues.NullTranslations:
    if code == "en":
        return catalogues.NullTranslations()
    source = files("solespan.dashboards") / "messages" / f"{code}.po"
    compiled = BytesIO()
    write_mo(compiled, read_po(BytesIO(source.read_bytes()), locale=code))
    compiled.seek(0)
    return catalogues.GNUTranslations(compiled)


LANGUAGES: dict[str, Language] = {code: _language(code) for code in LOCALES}
ENGLISH = LANGUAGES["en"]
_NAMED = {
    word.lower(): language
    for language in LANGUAGES.values()
    for word in (language.code, language.name, language.own_name)
}


def language_of(*words: str | None) -> Language:
    """Return the first language that is named, by code or name; English where none is."""
    for text in words:
        for word in re.split(r"[\W_]+", (text or "").lower()):
            if word in _NAMED:
                return _NAMED[word]
    return ENGLISH
