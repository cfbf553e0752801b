"""Words of notices: how does a notice say when a pair is due, without a precision nobody has?"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from solespan.dashboards.language import ENGLISH, Language, gettext_noop

__all__ = ["CAUTIONS", "THUMB_CHECK", "bring_by", "due_window", "how_sure"]

# The check that needs no gauge and no photograph; grades are those of `forecast.frames.GRADES`.
THUMB_CHECK: Sequence[str] = (
    gettext_noop(
        "Take the shoe off, look for nails and grit, and clean the ball, where the sole is widest."
    ),
    gettext_noop(
        "Press your thumb there firmly, then at the waist, which never touches the ground."
    ),
    gettext_noop(
        "Compare: it does not move (firm), moves a little (give), flexes easily (soft), "
        "or has a hole."
    ),
    gettext_noop(
        "Do the same with the other shoe, and tell us both. It takes a minute and moves the dates."
    ),
)
CAUTIONS: Sequence[str] = (
    gettext_noop(
        "Smooth or worn leather soles slip on wet ground, and metal plates slip on stone."
    ),
    gettext_noop(
        "A sole worn through lets water into cork, insole and stitching: stop wearing the pair."
    ),
    gettext_noop(
        "A sole or heel that comes loose, and a nail that sticks out, can make you fall or hurt "
        "you."
    ),
    gettext_noop(
        "These dates are estimates, and nothing here says that a sole is safe: look at it yourself."
    ),
)


def due_window(
    p10: date | None, p90: date | None, today: date, language: Language = ENGLISH
) -> str:
    """Say the 80 % interval of a due date: between mid-March and early May.

    The year is said where it is not this one. None means beyond the forecast's horizon.
    """
    say = language.gettext
    if p10 is None:
        return say("later than can be foreseen")
    if p90 is None:
        start = language.third(p10, year=p10.year != today.year)
        if p10 <= today:
            return say("now, or later")
        return say("from %(start)s on, perhaps much later", start=start)
    last = language.third(p90, year=p90.year != today.year)
    if p10 <= today:
        return say("now") if p90 <= today else say("now or by %(last)s", last=last)
    first = language.third(p10, year=p10.year not in (today.year, p90.year))
    if (p10.year, language.third(p10)) == (p90.year, language.third(p90)):
        return say("in %(when)s", when=last)
    return say("between %(first)s and %(last)s", first=first, last=last)


def how_sure(p10: date | None, p90: date | None, today: date, language: Language = ENGLISH) -> str:
    """Say what share of cases `due_window` speaks for; empty = it says so itself."""
    say = language.gettext
    if p10 is None or (p90 is None and p10 <= today):
        return ""
    if p90 is None:
        return say("nine times in ten not before")
    if p90 <= today:
        return say("nine times in ten it is at its limit already")
    if p10 <= today:
        return say("nine times in ten by then")
    return say("four times in five within that time")


def bring_by(day: date | None, today: date, language: Language = ENGLISH) -> str:
    """Say by when to hand a pair over; a day that has come is `as soon as you can`."""
    if day is None or day <= today:
        return language.gettext("as soon as you can")
    same = day.year == today.year
    said = language.day_and_month(day) if same else language.long_date(day)
    return language.gettext("by %(day)s", day=said)
