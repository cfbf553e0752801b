"""Lists of sheets: which blocks do they hold, as lists, and what does each column mean?

Calendars become lists here. A person's answers about columns come before proposals.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field, replace
from datetime import date

from solespan.api.services.importing.sheets.cells.axis import month_and_year_in, text_of
from solespan.api.services.importing.sheets.cells.dates import (
    DAY_FIRST,
    MONTH_FIRST,
    DateStyle,
    order_of,
    read_day,
    read_days,
)
from solespan.api.services.importing.sheets.cells.words import TARGETS, is_blank, plain
from solespan.api.services.importing.sheets.layout.blocks import (
    HEADING,
    Block,
    drop_columns,
    find_blocks,
)
from solespan.api.services.importing.sheets.layout.columns import propose_uses
from solespan.api.services.importing.sheets.layout.completion import (
    List,
    fill_down,
    find_currencies,
    find_units,
)
from solespan.api.services.importing.sheets.layout.grid import (
    CELL_COLUMN,
    LABELS,
    LEAVE,
    THICKNESS,
    WEAR,
    Grid,
    find_grid,
    melt,
    propose_mode,
)
from solespan.api.services.importing.sheets.layout.looks import IGNORE, says_day
from solespan.api.services.importing.sheets.layout.reshaping import reshape
from solespan.api.services.importing.sheets.layout.text_lines import read_lines
from solespan.api.services.importing.sheets.layout.use import Use, is_described
from solespan.api.services.importing.sheets.questions import Asker
from solespan.api.services.importing.sheets.sheet import Cell, Sheet
from solespan.api.services.importing.sheets.translation import LEFT_OUT, ColumnUse, RowFate

__all__ = ["Layout", "List", "find_style", "lay_out"]

EXAMPLES = 3
LOOKED_AT = 50_000
YEARS_BACK = 8
MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December",
)  # fmt: skip
CHOICES = tuple((name, target.title) for name, target in TARGETS.items() if target.words)
MODES = {
    WEAR: "the pair was worn: marks, or hours",
    THICKNESS: "thickness measured that day",
    LABELS: "the name of the pair worn",
    LEAVE: "leave the calendar out",
}


@dataclass
class Layout:
    """All lists, in the order in which they are read, with columns and fates of other rows."""

    lists: list[List] = field(default_factory=list)
    columns: list[ColumnUse] = field(default_factory=list)
    fates: list[RowFate] = field(default_factory=list)


def find_style(sheets: Sequence[Sheet], asker: Asker, today: date) -> DateStyle:
    """Find the order of day and month by all cells of all sheets; ask where it is open."""
    cells: list[Cell] = []
    for sheet in sheets:
        for row in sheet.rows:
            cells += [cell for cell in row if isinstance(cell, str)]
            if len(cells) > LOOKED_AT:
                break
    order, example = order_of(cells, today)
    if order or not example:
        return DateStyle(order or DAY_FIRST)
    day = read_day(example, DateStyle(DAY_FIRST))
    other = read_day(example, DateStyle(MONTH_FIRST))
    if day is None or other is None:
        return DateStyle()
    order = asker.ask(
        "order",
        f"{example}: day first?",
        (
            (DAY_FIRST, f"yes, it is {day.day.day} {MONTHS[day.day.month - 1]} {day.day.year}"),
            (
                MONTH_FIRST,
                f"no, it is {other.day.day} {MONTHS[other.day.month - 1]} {other.day.year}",
            ),
        ),
        MONTH_FIRST if "/" in example and _speaks_english(cells) else DAY_FIRST,
    )
    return DateStyle(order)


def _speaks_english(cells: Sequence[Cell]) -> bool:
    """Whether prices or words of the sheet are American; elsewhere the day comes first."""
    return any(isinstance(cell, str) and "$" in cell for cell in cells)


def lay_out(
    sheets: Sequence[Sheet], style: DateStyle, asker: Asker, pairs: Collection[str], today: date
) -> Layout:
    """Find the lists of all sheets; `pairs` holds the names of known pairs in plain letters."""
    layout = Layout()
    blocks: list[Block] = []
    for sheet in sheets:
        found, fates = read_lines(sheet, style) or find_blocks(sheet, style)
        blocks += [reshape(block, style) for block in found]
        layout.fates += fates
    names = set(pairs)
    for block in blocks:
        uses = propose_uses(block, style)
        if is_described({use.target for use in uses}):
            at = next((use.at for use in uses if use.target == "pairs.label"), -1)
            names |= {plain(text_of(c)) for c in block.column(at)} if at >= 0 else set()
    seen: Counter[str] = Counter()
    for block in blocks:
        if _is_remark(block, blocks):
            layout.fates += [
                RowFate(block.place(line), LEFT_OUT, "text beside the tables")
                for line in block.lines
            ]
            continue
        layout.lists.append(_list(block, style, asker, names - {""}, seen, layout, today))
    layout.lists.sort(key=lambda one: _rank(one.targets))
    return layout


def _is_remark(block: Block, blocks: Sequence[Block]) -> bool:
    """Whether a block is free text in one column, while others hold the tables."""
    alone = len(block.headers) == 1 and block.heads[0] is None and len(blocks) > 1
    return alone and all(isinstance(cell, str) for cell in block.column(0))


def _rank(targets: set[str]) -> int:
    """Put people before pairs, and pairs before what happened to them."""
    if all(t.startswith(("wearers.", "consents.")) or t in ("note", IGNORE) for t in targets):
        return 0
    return 1 if is_described(targets) else 2


def _list(
    block: Block,
    style: DateStyle,
    asker: Asker,
    names: Collection[str],
    seen: Counter[str],
    layout: Layout,
    today: date,
) -> List:
    year = month_and_year_in(block.title)[1]
    own = replace(style, year=year)
    grid = find_grid(block, own, names)
    if grid is not None:
        block = _melted(block, grid, own, asker, seen, layout, today)
    else:
        drop_columns(block, range(len(block.headers)))
        if year is None and not _heads_years(block) and _lacks_years(block, own):
            own = replace(own, year=_ask_year(block, asker, today))
    found = List(block, _choose(block, own, asker, seen, layout), own)
    fill_down(found, asker)
    find_units(found, asker)
    find_currencies(found)
    return found


def _choose(
    block: Block, style: DateStyle, asker: Asker, seen: Counter[str], layout: Layout
) -> list[Use]:
    """Return the uses of the columns; those that a person chose count first."""
    proposed = propose_uses(block, style)
    keys = {u.at: _key(block, u.header, seen) for u in proposed if u.at not in block.fixed}
    choices = {at: asker.answers[key] for at, key in keys.items() if key in asker.answers}
    choices = {at: target for at, target in choices.items() if target in TARGETS}
    uses = propose_uses(block, style, choices) if choices else proposed
    for before, use in zip(proposed, uses, strict=True):
        if use.at in keys:
            layout.columns.append(
                ColumnUse(
                    keys[use.at],
                    block.file,
                    block.sheet,
                    use.name,
                    _examples(block.column(use.at)),
                    before.target,
                    use.target,
                    TARGETS[use.target].title,
                    use.sure,
                    CHOICES,
                )
            )
    return uses


def _key(block: Block, header: str, seen: Counter[str]) -> str:
    name = f"column:{block.sheet}/{plain(header)}"
    seen[name] += 1
    return name if seen[name] == 1 else f"{name}/{seen[name]}"


def _examples(cells: Sequence[Cell]) -> tuple[str, ...]:
    told = dict.fromkeys(text_of(c)[:60] for c in cells if c is not None)
    return tuple(list(told)[:EXAMPLES])


def _melted(
    block: Block,
    grid: Grid,
    style: DateStyle,
    asker: Asker,
    seen: Counter[str],
    layout: Layout,
    today: date,
) -> Block:
    if grid.lacks == "month":
        name = asker.ask(
            f"month:{block.sheet}/{block.number}",
            f"Which month is the calendar in {block.sheet or block.file}?",
            [(str(n), name) for n, name in enumerate(MONTHS, start=1)],
            str(today.month),
        )
        grid = replace(grid, month=int(name))
    if grid.lacks == "year":
        grid = replace(grid, year=_ask_year(block, asker, today))
    rest = [n for n in range(len(block.headers)) if n not in grid.across]
    has_label = any(
        use.target == "pairs.label" and use.at in rest for use in propose_uses(block, style)
    )
    proposed = propose_mode(block, grid, has_label=has_label)
    key = _key(block, "calendar", seen)
    answer = asker.answers.get(key, proposed)
    mode = answer if answer in MODES else proposed
    cells = [row[n] for row in block.rows[:20] for n in grid.across]
    layout.columns.append(
        ColumnUse(
            key,
            block.file,
            block.sheet,
            f"{CELL_COLUMN}: {len(grid.across)} columns",
            _examples(cells),
            proposed,
            mode,
            MODES[mode],
            True,
            tuple(MODES.items()),
        )
    )
    return melt(block, grid, mode, style)


def _lacks_years(block: Block, style: DateStyle) -> bool:
    """Whether a column has dates that name no year."""
    dated = replace(style, year=2024)
    for n in range(len(block.headers)):
        if block.headers[n] == HEADING:
            continue
        cells = [c for c in block.column(n)[:200] if isinstance(c, str) and not is_blank(c)]
        short = [
            c
            for c in cells
            if (says_day(block.headers[n]) or re.search(r"\d\s*[./-]\s*\d+\.$|[A-Za-z]{3}", c))
            and read_days(c, style) is None
            and read_days(c, dated) is not None
        ]
        if len(short) > 0.6 * len(cells) and short:
            return True
    return False


def _heads_years(block: Block) -> bool:
    """Whether the headings over the rows name years."""
    if HEADING not in block.headers:
        return False
    return any(month_and_year_in(text_of(c))[1] for c in block.column(0))


def _ask_year(block: Block, asker: Asker, today: date) -> int:
    years = [str(today.year - back) for back in range(YEARS_BACK)]
    where = block.sheet or block.file
    answer = asker.ask(
        f"year:{block.sheet}/{block.number}",
        f"The dates in {where} name no year. Which year is it?",
        [(year, year) for year in years],
        years[0],
        most=3,
    )
    return int(answer)
