"""Words of notices: how does a notice say when a pair is due, without a precision nobody has?"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from solespan.dashboards.wording import MONTHS

__all__ = ["A_GUARD", "A_SOLE", "CAUTIONS", "THUMB_CHECK", "bring_by", "due_window", "how_sure"]

# The check that needs no gauge and no photograph; grades are those of `forecast.frames.GRADES`.
THUMB_CHECK: Sequence[str] = (
    "Take the shoe off, look for nails and grit, and clean the ball, where the sole is widest.",
    "Press your thumb there firmly, then at the waist, which never touches the ground.",
    "Compare: it does not move (firm), moves a little (give), flexes easily (soft), or has a hole.",
    "Do the same with the other shoe, and tell us both. It takes a minute and moves the dates.",
)
CAUTIONS: Sequence[str] = (
    "Smooth or worn leather soles slip on wet ground, and metal plates slip on stone.",
    "A sole worn through lets water into cork, insole and stitching: stop wearing the pair.",
    "A sole or heel that comes loose, and a nail that sticks out, can make you fall or hurt you.",
    "These dates are estimates, and nothing here says that a sole is safe: look at it yourself.",
)

A_SOLE, A_GUARD = "a new sole", "a new guard over the sole"


def _third(day: date, *, year: bool = False) -> str:
    part = "early " if day.day <= 10 else "mid-" if day.day <= 20 else "late "
    return f"{part}{MONTHS[day.month - 1]}" + (f" {day.year}" if year else "")


def due_window(p10: date | None, p90: date | None, today: date) -> str:
    """Say the 80 % interval of a due date: between mid-March and early May.

    The year is said where it is not this one. None means beyond the forecast's horizon.
    """
    if p10 is None:
        return "later than can be foreseen"
    if p90 is None:
        start = _third(p10, year=p10.year != today.year)
        return "now, or later" if p10 <= today else f"from {start} on, perhaps much later"
    last = _third(p90, year=p90.year != today.year)
    if p10 <= today:
        return "now" if p90 <= today else f"now or by {last}"
    first = _third(p10, year=p10.year not in (today.year, p90.year))
    same = (p10.year, _third(p10)) == (p90.year, _third(p90))
    return f"in {last}" if same else f"between {first} and {last}"


def how_sure(p10: date | None, p90: date | None, today: date) -> str:
    """Say what share of cases `due_window` speaks for; empty = it says so itself."""
    if p10 is None or (p90 is None and p10 <= today):
        return ""
    if p90 is None:
        return "nine times in ten not before"
    if p90 <= today:
        return "nine times in ten it is at its limit already"
    return "nine times in ten by then" if p10 <= today else "four times in five within that time"


def bring_by(day: date | None, today: date) -> str:
    """Say by when to hand a pair over; a day that has come is `as soon as you can`."""
    if day is None or day <= today:
        return "as soon as you can"
    year = f" {day.year}" if day.year != today.year else ""
    return f"by {day.day} {MONTHS[day.month - 1]}{year}"
