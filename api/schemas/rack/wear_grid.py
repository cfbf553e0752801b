"""Form model of the month grid: which boxes were shown, and which of them are ticked?

The form names its pairs once, in order: `pair`. Beside each stands `seen`: the days that were
logged when the page was made, each with its version (`5.1-12.2`). A ticked box is `worn` with the
number of its pair and the day: `0.5`. `asked` names the days whose deletion the page has asked
about.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from solespan.api.schemas.forms import FormProblem
from solespan.forecast.values import EARLIEST, LATEST

__all__ = ["Cell", "WearGridForm", "month_of", "read_grid", "read_paces"]

Cell = tuple[str, date]  # a pair and a day
MOST_NUMBER = 2**31
TOO_OLD = "The page was too old. Load it again."


@dataclass(frozen=True)
class WearGridForm:
    """One month of some pairs of a wearer, as it was shown and as it is wanted.

    `seen` holds the version of each day that was logged when the page was made. `rich` says what to
    do with the days in `asked` that carry more than a tick: `keep` or `delete`.
    """

    wearer_id: str
    first: date
    pairs: tuple[str, ...]
    seen: dict[Cell, int]
    ticked: frozenset[Cell]
    rich: str = ""
    asked: frozenset[Cell] = frozenset()

    @property
    def changed(self) -> list[Cell]:
        """The boxes that differ from what was shown, in order."""
        return sorted(self.ticked ^ self.seen.keys())


def month_of(text: str, today: date) -> date:
    """Return the first day of the month written as 2026-11.

    Of today's month where it is none, or lies ahead.
    """
    try:
        return min(_first_of(text), today.replace(day=1))
    except ValueError:
        return today.replace(day=1)


def read_grid(items: Iterable[tuple[str, str]]) -> WearGridForm:
    """Read the form from its fields in order. Raises `FormProblem` where it is not ours."""
    fields: dict[str, list[str]] = {}
    for name, value in items:
        fields.setdefault(name, []).append(value)

    def one(name: str) -> str:
        return fields.get(name, [""])[0]

    pairs = fields.get("pair", [])
    try:
        first = _first_of(one("month"))
        seen = {
            (pair_id, first.replace(day=day)): version
            for pair_id, text in zip(pairs, fields.get("seen", []), strict=True)
            for day, version in map(_numbers, filter(None, text.split("-")))
        }
        return WearGridForm(
            one("wearer"),
            first,
            tuple(pairs),
            seen,
            _cells(pairs, first, fields.get("worn", [])),
            one("rich"),
            _cells(pairs, first, fields.get("asked", [])),
        )
    except (ValueError, IndexError):
        raise FormProblem({"": TOO_OLD}) from None


def read_paces(items: Iterable[tuple[str, str]]) -> list[tuple[str, str, str, str]]:
    """Read stated paces: table, id, what the page showed, what was typed; first the whole rack's.

    Raises `FormProblem` where the form is not ours.
    """
    given = list(items)
    shown, typed, pairs = (
        [value for name, value in given if name == wanted] for wanted in ("shown", "pace", "pair")
    )
    wearer = [value for name, value in given if name == "wearer"]
    named = [*(("wearers", one) for one in wearer), *(("pairs", one) for one in pairs)]
    if not len(named) == len(shown) == len(typed):
        raise FormProblem({"": TOO_OLD})
    return [(*one, old, new) for one, old, new in zip(named, shown, typed, strict=True)]


def _first_of(text: str) -> date:
    first = date.fromisoformat(f"{text}-01")
    if not EARLIEST <= first < LATEST.replace(month=12, day=1):
        raise ValueError(text)
    return first


def _cells(pairs: Sequence[str], first: date, texts: Iterable[str]) -> frozenset[Cell]:
    return frozenset(
        (pairs[number], first.replace(day=day)) for number, day in map(_numbers, texts)
    )


def _numbers(text: str) -> tuple[int, int]:
    left, _, right = text.partition(".")
    if not (left.isascii() and left.isdigit() and right.isascii() and right.isdigit()):
        raise ValueError(text)
    numbers = int(left[:11]), int(right[:11])
    if max(numbers) >= MOST_NUMBER:
        raise ValueError(text)
    return numbers
