"""Grid: how does a table fit a terminal without cutting a date, a number or a name?

Text wraps between words. Where the longest words do not fit side by side, spare columns are left
out. Without any, each row is written as lines of `heading: value`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence, Sized
from dataclasses import dataclass
from typing import Any

from rich.console import Console, ConsoleOptions, JustifyMethod, RenderResult
from rich.table import Table
from rich.text import Text

__all__ = ["Grid", "grid"]

UNKNOWN = "-"
LONGEST_WORD = 40  # characters; a longer word is folded
LEAST_PROSE = 24  # characters of a line below which a spare column is better left out


@dataclass(frozen=True)
class Grid:
    """A table that falls back to lines where it does not fit."""

    headings: tuple[str, ...]
    rows: tuple[tuple[Text, ...], ...]
    title: str = ""
    caption: str = ""
    right: frozenset[str] = frozenset()
    spare: tuple[str, ...] = ()

    def __rich_console__(self, _console: Console, options: ConsoleOptions) -> RenderResult:
        """Render as a table, or as lines."""
        floors = {place: self._floor(place) for place in range(len(self.headings))}
        gone: list[str] = []
        while sum(floors.values()) + _between(floors) > options.max_width:
            if len(gone) == len(self.spare):
                yield from self._lines()
                return
            gone.append(self.spare[-1 - len(gone)])
            floors.pop(self.headings.index(gone[-1]))
        yield self._table(self._widths(floors, options.max_width))
        if gone:
            yield Text(f"Not shown, as the terminal is narrow: {', '.join(gone[::-1])}.", "dim")

    def _floor(self, place: int) -> int:
        texts = [self.headings[place], *(row[place].plain for row in self.rows)]
        longest = max((len(word) for text in texts for word in text.split()), default=1)
        prose = max(len(text) for text in texts) if self.headings[place] in self.spare else 0
        return max(min(longest, LONGEST_WORD), min(prose, LEAST_PROSE))

    def _widths(self, floors: Mapping[int, int], room: int) -> dict[int, int]:
        """Take room from the widest column until all fit, never below its longest word."""
        longest = {
            place: max([len(self.headings[place]), floor, *(len(r[place]) for r in self.rows)])
            for place, floor in floors.items()
        }
        widths = {place: min(width, room) for place, width in longest.items()}
        while sum(widths.values()) + _between(widths) > room:
            place = max(widths, key=lambda one: (widths[one] > floors[one], widths[one]))
            widths[place] -= 1
        return widths

    def _table(self, widths: Mapping[int, int]) -> Table:
        table = Table(
            title=self.title or None,
            title_justify="left",
            caption=self.caption or None,
            caption_justify="left",
            show_edge=False,
            pad_edge=False,
        )
        for place, width in widths.items():
            side: JustifyMethod = "right" if self.headings[place] in self.right else "left"
            table.add_column(self.headings[place], width=width, overflow="fold", justify=side)
        for row in self.rows:
            table.add_row(*(row[place] for place in widths))
        return table

    def _lines(self) -> Iterator[Text]:
        if self.title:
            yield Text(self.title, "italic")
        for row in self.rows:
            for heading, cell in zip(self.headings, row, strict=True):
                yield Text.assemble((f"{heading or 'what'}: ", "bold"), cell)
            yield Text("")
        if self.caption:
            yield Text(self.caption, "dim italic")


def _between(columns: Sized) -> int:
    """Count the characters between columns."""
    return 3 * (len(columns) - 1)


def grid(
    headings: Sequence[str],
    rows: Iterable[Sequence[Any]],
    *,
    title: str = "",
    caption: str = "",
    right: Iterable[str] = (),
    spare: Sequence[str] = (),
) -> Grid:
    """Make a grid; a value that is not known is a dash, and no text counts as markup.

    `spare` are the headings that a narrow terminal leaves out, the last one first.
    """
    made = tuple(tuple(_text(cell) for cell in row) for row in rows)
    return Grid(tuple(headings), made, title, caption, frozenset(right), tuple(spare))


def _text(value: Any) -> Text:
    if isinstance(value, Text):
        return value
    if value is None or value == "":
        return Text(UNKNOWN)
    if isinstance(value, bool):
        return Text("yes" if value else "no")
    return Text(f"{value:g}" if isinstance(value, float) else str(value))
