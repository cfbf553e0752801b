"""Calendar reader: how does a wide table, with days or pairs across, become one row per cell?

Days stand across (dates, day numbers, weekdays, months) or down, with pairs on the other side. A
cell holds a mark, hours, a thickness or the name of a pair. Each cell that is filled becomes a row.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from itertools import pairwise

from solespan.api.services.importing.sheets.cells.axis import (
    Axis,
    axis_of,
    join_axes,
    month_and_year_in,
    text_of,
)
from solespan.api.services.importing.sheets.cells.dates import DateStyle, read_day
from solespan.api.services.importing.sheets.cells.quantities import (
    currency_in,
    read_hours,
    read_number,
    unit_in,
)
from solespan.api.services.importing.sheets.cells.words import (
    header_scores,
    is_blank,
    plain,
    word_of,
)
from solespan.api.services.importing.sheets.layout.blocks import Block
from solespan.api.services.importing.sheets.sheet import Cell

__all__ = ["LABELS", "LEAVE", "THICKNESS", "WEAR", "Grid", "find_grid", "melt", "propose_mode"]

WEAR, THICKNESS, LABELS, LEAVE = "marks of wear", "thickness", "names of pairs", "leave out"
DAY_COLUMN, CELL_COLUMN, PAIR_COLUMN = "(day)", "(cell of the calendar)", "(pair)"
FOOT_COLUMN, POINT_COLUMN = "(foot)", "(point)"
LEAST = {"day": 7, "weekday": 5, "date": 2, "short": 3, "month": 4}
MARKED = 0.9
Entry = tuple[str, str, str]
Row = tuple[Cell, ...]
NAMED, HINTED = 0.9, 0.5  # scores of headers that name something else than a pair


@dataclass(frozen=True)
class Grid:
    """The form of a calendar: which columns are cells, and what tells the day and the pair.

    `across` holds for each cell column its axis, None = the header names a pair. `down` is the
    column whose cells tell the day or a part of it, -1 = none. It is `counted` where they number
    the days of a month. `labels` holds pair, foot and point of headers such as `Oxford left`.
    """

    across: dict[int, Axis | None]
    down: int
    month: int | None
    year: int | None
    monday: date | None = None
    counted: bool = False
    labels: Mapping[int, Entry] = field(default_factory=dict)

    @property
    def pairs_across(self) -> bool:
        """Whether the headers of the cells name pairs."""
        return None in self.across.values()

    @property
    def lacks(self) -> str:
        """What no title says: `month`, `year` or nothing."""
        kinds = {axis.kind for axis in self.across.values() if axis is not None}
        if "short" in kinds and not self.year:
            return "year"
        if ("day" in kinds and self.down < 0) or self.counted:
            return "" if self.month and self.year else "year" if self.month else "month"
        return ""


def find_grid(block: Block, style: DateStyle, pairs: Collection[str]) -> Grid | None:
    """Tell a calendar from a list; `pairs` holds names of pairs in plain letters."""
    axes = [axis_of(head, style) for head in block.heads]
    kinds = [axis.kind for axis in axes if axis is not None]
    corner = block.headers[0] if axes and axes[0] is None else ""
    month, year = month_and_year_in(f"{block.title} {corner} {_corner_month(block)}")
    year = year or style.year
    for kind in ("date", "day", "weekday", "short", "month"):
        if kinds.count(kind) < LEAST[kind]:
            continue
        across = {n: axis for n, axis in enumerate(axes) if axis is not None and axis.kind == kind}
        if kind == "short" and not _is_rising(across.values()):
            continue
        down = -1
        monday = None
        if kind == "weekday":
            down = _day_column(block, replace(style, year=year), across, weeks=True)
            monday = _week_of(block.title, style) if down < 0 else None
        elif kind == "month":
            down = _number_column(block, across)
        if kind in ("weekday", "month") and down < 0 and monday is None:
            continue
        return Grid(dict(across), down, month, year, monday)
    return _pairs_across(block, style, pairs, month, year)


def _pairs_across(
    block: Block, style: DateStyle, pairs: Collection[str], month: int | None, year: int | None
) -> Grid | None:
    """Tell a calendar with days down and pairs across."""
    if any(_names_pairs(header) for header in block.headers):
        return None
    down = _day_column(block, style, ())
    counted = down < 0
    down = _number_column(block, (), named=True) if counted else down
    if down < 0:
        return None
    feet = {n: found for n in range(len(block.headers)) if (found := _pair_and_foot(block, n))}
    if len(feet) > 1 and not counted:
        return Grid(dict.fromkeys(feet), down, month, year, labels=feet)
    across_pairs = [
        n
        for n in range(len(block.headers))
        if n != down and block.heads[n] is not None and _names_a_pair(block, n, pairs)
    ]
    if len(across_pairs) < 2:
        named = _columns_of_names(block, down)
        if counted or len(named) < 2:
            return None
        return Grid(dict.fromkeys(named, Axis("name")), down, month, year)
    return Grid(dict.fromkeys(across_pairs), down, month, year, counted=counted)


def _columns_of_names(block: Block, down: int) -> list[int]:
    """Find columns without a known header that share their texts: morning and evening, say."""
    texts: dict[int, set[str]] = {}
    for n, header in enumerate(block.headers):
        cells = [text_of(cell) for cell in block.column(n) if cell is not None]
        named = max(header_scores(header).values(), default=0.0) >= HINTED
        if n != down and cells and not named and all(read_number(cell) is None for cell in cells):
            texts[n] = {plain(cell) for cell in cells}
    return [n for n, own in texts.items() if any(_share(own, texts[m]) for m in texts if m != n)]


def _share(own: set[str], other: set[str]) -> bool:
    """Whether half of the texts of one column stand in another."""
    return len(own & other) >= 0.5 * min(len(own), len(other))


def _pair_and_foot(block: Block, at: int) -> Entry | None:
    """Read a header such as `Oxford L` over thicknesses; None = it is no such header."""
    words = block.headers[at].split()
    facets: dict[str, str] = {}
    rest = []
    for word in words:
        kind = next((k for k in ("foot", "point") if word_of(k, word, near=False)[0]), "")
        if kind:
            facets[kind] = word_of(kind, word, near=False)[0]
        elif not unit_in(word):
            rest.append(word)
    label = " ".join(rest).strip(" -/,()")
    cells = [cell for cell in block.column(at) if cell is not None]
    measured = sum(read_number(cell) is not None for cell in cells)
    if "foot" not in facets or not plain(label) or measured < MARKED * max(1, len(cells)):
        return None
    if max(header_scores(label).values(), default=0.0) >= HINTED:
        return None
    return label, facets["foot"], facets.get("point", "")


def _corner_month(block: Block) -> str:
    """Return the heading of the first column where it names a month with its year."""
    head = block.heads[0] if block.heads else None
    day = read_day(head, DateStyle()) if isinstance(head, str) else None
    return f"{day.day.year}-{day.day.month:02d}" if day is not None and not day.exact else ""


def _is_rising(axes: Iterable[Axis]) -> bool:
    """Whether days without a year stand in order; thicknesses that look like days fall."""
    days = [axis.day for axis in axes if axis.day is not None]
    return all(a < b for a, b in pairwise(days))


def _week_of(title: str, style: DateStyle) -> date | None:
    """Return the day that a title names for its week."""
    words = title.split()
    for size in (4, 3, 2, 1):
        for begin in range(len(words) - size + 1):
            text = " ".join(words[begin : begin + size])
            day = read_day(text, style) if any(c.isdigit() for c in text) else None
            if day is not None and (day.exact or text.lower()[0] in "kwsc"):
                return day.day
    return None


def _day_column(
    block: Block, style: DateStyle, but: Collection[int], *, weeks: bool = False
) -> int:
    for n in range(len(block.headers)):
        cells = [cell for cell in block.column(n) if cell is not None]
        if n in but or not cells:
            continue
        days = [read_day(cell, replace(style, year=style.year or 2024)) for cell in cells]
        if sum(day is not None and (day.exact or weeks) for day in days) >= MARKED * len(cells):
            return n
    return -1


def _number_column(block: Block, but: Collection[int], *, named: bool = False) -> int:
    """Find the column that numbers the days of a month, in order."""
    for n, header in enumerate(block.headers):
        numbers = [read_number(cell) for cell in block.column(n) if cell is not None]
        told = header_scores(header).get("any.date", 0.0) >= NAMED
        days = [int(v) for v in numbers if v is not None and v in range(1, 32)]
        if n in but or len(days) < max(2, len(numbers)) or (named and not told):
            continue
        if (told or len(days) > 6) and all(a < b for a, b in pairwise(days)):
            return n
    return -1


def _names_pairs(header: str) -> bool:
    """Whether a header says that its cells name pairs."""
    lines = (header, header.rsplit("\n", 1)[-1])
    return any(header_scores(line).get("pairs.label", 0.0) >= HINTED for line in lines)


def _names_a_pair(block: Block, at: int, pairs: Collection[str]) -> bool:
    """Whether a column's header is a pair's name and its cells are marks."""
    header = plain(block.headers[at])
    lines = [block.headers[at], block.headers[at].rsplit("\n", 1)[-1]]
    crosses = {plain(text_of(cell)) for cell in block.column(at) if cell is not None} <= {"x", "xx"}
    named = max(max(header_scores(h).values(), default=0.0) for h in lines)
    if not header or named >= (NAMED if crosses else HINTED):
        return header in pairs
    cells = [cell for cell in block.column(at) if cell is not None]
    marks = sum(_is_mark(cell) or _is_hours(cell) for cell in cells)
    facets = any(word_of(c, t, near=False)[0] for t in header.split() for c in ("foot", "point"))
    if facets or unit_in(header):
        return header in pairs
    return header in pairs or (bool(cells) and marks >= MARKED * len(cells))


def _is_hours(cell: Cell) -> bool:
    number = read_hours(cell)
    return number is not None and 0 <= number <= 24 and not currency_in(text_of(cell))


def _is_mark(cell: Cell) -> bool:
    return isinstance(cell, bool) or bool(word_of("yes_no", text_of(cell), near=False)[0])


def propose_mode(block: Block, grid: Grid, *, has_label: bool) -> str:
    """Propose what the cells of a calendar hold."""
    if grid.labels:
        return THICKNESS
    cells = [row[n] for row in block.rows for n in grid.across if row[n] is not None]
    texts = [c for c in cells if not _is_mark(c) and read_number(c) is None]
    if len(texts) > 0.5 * len(cells) and not has_label and not grid.pairs_across:
        return LABELS
    numbers = [v for c in cells if (v := read_number(c)) is not None and not _is_mark(c)]
    title = plain(block.title)
    if numbers and (unit_in(block.title) or any(unit_in(text_of(c)) for c in cells[:50])):
        return THICKNESS
    hints = ("thickness", "dicke", "starke", "epaisseur", "spessore", "grosor", "espesor", "dikte")
    if numbers and (any(hint in title for hint in hints) or word_of("table", title)[0] == "checks"):
        return THICKNESS
    fine = [v for v in numbers if (v * 2) % 1]
    if len(fine) > 0.3 * max(1, len(numbers)) and numbers and max(numbers) < 15:
        return THICKNESS
    return WEAR


def melt(block: Block, grid: Grid, mode: str, style: DateStyle) -> Block:
    """Return the block with one row for each filled cell, its day and its pair beside it."""
    kept = [
        n
        for n in range(len(block.headers))
        if n not in grid.across and (n != grid.down or mode == LEAVE)
    ]
    out = Block(
        block.file,
        block.sheet,
        block.number,
        block.title,
        [block.headers[n] for n in kept],
        [block.heads[n] for n in kept],
    )
    extra = [DAY_COLUMN, CELL_COLUMN]
    extra += [PAIR_COLUMN, FOOT_COLUMN, POINT_COLUMN] if grid.pairs_across else []
    out.headers += extra
    out.heads += [None] * len(extra)
    base = len(kept)
    out.fixed = {
        base: "checks.checked_on" if mode == THICKNESS else "wear_days.worn_on",
        base + 1: {WEAR: "wear_days.mark", THICKNESS: "checks.value", LABELS: "pairs.label"}.get(
            mode, "ignore"
        ),
    }
    if grid.pairs_across:
        targets = ("pairs.label", "checks.foot", "checks.point")
        out.fixed |= {base + 2 + n: target for n, target in enumerate(targets)}
    for row, line in zip(block.rows, block.lines, strict=True):
        own = tuple(row[n] for n in kept)
        filled = [n for n in grid.across if _counts(row[n], mode)] if mode != LEAVE else []
        for n in filled:
            day = _day_of(row, grid, n, style)
            pair: Row = grid.labels.get(n, (block.headers[n], "", ""))
            pair = tuple(text or None for text in pair) if grid.pairs_across else ()
            out.rows.append((*own, day, row[n], *pair))
            out.lines.append(line)
        if not filled:
            out.rows.append((*own, *(None,) * len(extra)))
            out.lines.append(line)
    return out


def _counts(cell: Cell, mode: str) -> bool:
    """Whether a cell says that something happened that day."""
    if cell is None or is_blank(text_of(cell)):
        return False
    if mode == WEAR:
        return word_of("yes_no", text_of(cell), near=False)[0] != "no" and read_number(cell) != 0
    return True


def _day_of(row: tuple[Cell, ...], grid: Grid, at: int, style: DateStyle) -> Cell:
    """Return the day of a cell, or what stands for it where there is no such day."""
    down = Axis("date", day=grid.monday) if grid.monday else None
    if grid.down >= 0:
        found = read_day(row[grid.down], replace(style, year=style.year or grid.year))
        number = read_number(row[grid.down])
        down = Axis("date", day=found.day) if found else Axis("day", int(number or 0))
    across = grid.across[at]
    day = join_axes(down, across, grid.month, grid.year)
    if day is None:
        return " ".join(
            str(axis.value or axis.day or "") for axis in (down, across) if axis is not None
        )
    return day
