"""Lists of sheets: which blocks do they hold, as lists, and what does each column mean?

Calendars become lists here. A person's answers about columns come before proposals.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field, replace
from datetime import date

from solespan.api.services.importing.sheets.assembly.details import is_described
from solespan.api.services.importing.sheets.cells.axis import month_and_year_in, text_of
from solespan.api.services.importing.sheets.cells.dates import (
    DAY_FIRST,
    MONTH_FIRST,
    DateStyle,
    order_of,
    read_day,
    read_days,
)
from solespan.api.services.importing.sheets.cells.quantities import read_number
from solespan.api.services.importing.sheets.cells.words import TARGETS, is_blank, plain, word_of
from solespan.api.services.importing.sheets.layout.blocks import (
    HEADING,
    Block,
    drop_columns,
    find_blocks,
)
from solespan.api.services.importing.sheets.layout.columns import (
    IGNORE,
    Use,
    propose_uses,
    says_day,
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
from solespan.api.services.importing.sheets.questions import Asker
from solespan.api.services.importing.sheets.sheet import Cell, Sheet
from solespan.api.services.importing.sheets.translation import LEFT_OUT, ColumnUse, RowFate

__all__ = ["Layout", "List", "find_style", "lay_out"]

EXAMPLES = 3
DATE_PARTS = {
    "year": {"year", "jahr", "annee", "anno", "ano", "jaar"},
    "month": {"month", "monat", "mois", "mese", "mes", "maand"},
    "day": {"day", "tag", "jour", "giorno", "dia", "dag"},
}
LOOKED_AT = 50_000
YEARS_BACK = 8
FILLED_DOWN = ("wearers.wearer_id", "wearers.name", "pairs.pair_id", "pairs.label")
MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December",
)  # fmt: skip
MODES = {
    WEAR: "the pair was worn: marks, or hours",
    THICKNESS: "thickness measured that day",
    LABELS: "the name of the pair worn",
    LEAVE: "leave the calendar out",
}


@dataclass
class List:
    """One block as a list, with the use of each column and the unit of each thickness."""

    block: Block
    uses: list[Use]
    style: DateStyle
    units: dict[int, str] = field(default_factory=dict)

    @property
    def targets(self) -> set[str]:
        """What the block tells of."""
        return {use.target for use in self.uses}


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
        found, fates = find_blocks(sheet, style)
        blocks += [_join_date_columns(_split_diary(block, style)) for block in found]
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
    month, year = month_and_year_in(block.title)
    own = replace(style, year=year)
    grid = find_grid(block, own, names)
    if grid is None:
        drop_columns(block, range(len(block.headers)))
    if grid is not None:
        block = _melted(block, grid, own, asker, seen, layout, today)
    elif year is None and not heads_years(block) and _lacks_years(block, own):
        own = replace(own, year=_ask_year(block, asker, today))
    del month
    uses = []
    for use in propose_uses(block, own):
        if use.at in block.fixed:
            uses.append(use)
            continue
        key = _key(block, use.header, seen)
        answer = asker.answers.get(key, use.target)
        target = answer if answer in TARGETS else use.target
        if target != use.target:
            use = replace(use, target=target, sure=True)
        uses.append(use)
        layout.columns.append(
            ColumnUse(
                key,
                block.file,
                block.sheet,
                use.header.replace("\n", " "),
                _examples(block.column(use.at)),
                use.target if key not in asker.answers else _proposed(block, own, use.at),
                target,
                TARGETS[target].title,
                use.sure,
                tuple((name, t.title) for name, t in TARGETS.items() if t.words),
            )
        )
    found = List(block, uses, own)
    _fill_down(found, asker)
    _find_units(found, asker)
    return found


def _proposed(block: Block, style: DateStyle, at: int) -> str:
    return propose_uses(block, style)[at].target


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


def heads_years(block: Block) -> bool:
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


def _fill_down(found: List, asker: Asker) -> None:
    """Repeat names downward over blank cells, as merged cells and plain habit leave them."""
    block = found.block
    ats = [use.at for use in found.uses if use.target in FILLED_DOWN]
    blank = [
        n
        for n, row in enumerate(block.rows)
        if any(row[at] is None for at in ats) and any(row[n] is not None for n in range(len(row)))
    ]
    if not ats or not blank or all(block.rows[0][at] is None for at in ats):
        return
    gaps = [n for n in blank if any(_fills(block, n, at) for at in ats)]
    if not gaps:
        return
    line = block.lines[gaps[0]]
    answer = asker.ask(
        f"repeat:{block.sheet}/{block.number}",
        f"Line {line} names no {_what(found, gaps[0])}. Is it that of the row above?",
        (("yes", "yes, names stand for the rows below them"), ("no", "no, it is not known")),
        "yes",
        most=2,
    )
    if answer != "yes":
        return
    rows: list[tuple[Cell, ...]] = []
    for row in block.rows:
        new = list(row)
        named = [at for at in ats if row[at] is not None]
        for at in ats:
            outer = [o for o in named if _is_outer(found, o, at)]
            if row[at] is None and rows and not outer:
                new[at] = rows[-1][at]
        rows.append(tuple(new))
    block.rows = rows


def _is_outer(found: List, other: int, at: int) -> bool:
    """Whether a name in one column begins a new group, so that the other is not repeated."""
    targets = {use.at: use.target for use in found.uses}
    first, second = targets[other].partition(".")[0], targets[at].partition(".")[0]
    return first == second or (first == "wearers" and second == "pairs")


def _fills(block: Block, n: int, at: int) -> bool:
    return n > 0 and block.rows[n][at] is None


def _what(found: List, n: int) -> str:
    for use in found.uses:
        if use.target in FILLED_DOWN and found.block.rows[n][use.at] is None:
            return "customer" if use.target.startswith("wearers") else "pair"
    return "pair"


def _find_units(found: List, asker: Asker) -> None:
    """Find the unit of each thickness: the header's, else by size, and asked where it is open."""
    for use in found.uses:
        if use.target not in ("soles.thickness", "soles.limit", "checks.value"):
            continue
        unit = use.facets.get("unit", "")
        values = [v for c in found.block.column(use.at) if (v := read_number(c)) is not None]
        if not unit and values and "checks.unit" not in found.targets:
            middle = sorted(values)[len(values) // 2]
            halves = all((v * 2) % 1 == 0 for v in values)
            if middle > 6.9:
                unit = asker.ask(
                    f"unit:{plain(use.header)}",
                    f"Column {use.header} has values such as {middle:g}. In which unit?",
                    (("iron", "iron (1/48 inch)"), ("mm", "millimetres")),
                    "iron" if halves and middle <= 24 else "mm",
                    most=2,
                )
        found.units[use.at] = unit or "mm"


def _split_diary(block: Block, style: DateStyle) -> Block:
    """Cut lines that begin with a day into day and text."""
    if not all(head is None for head in block.heads[1:]):
        return block
    texts = [", ".join(text_of(c) for c in row if c is not None) for row in block.rows]
    year = month_and_year_in(block.title)[1] or 2024
    cut = [_cut(text, replace(style, year=year)) for text in texts]
    if sum(day != "" for day, _ in cut) < 0.6 * len(cut):
        return block
    rows: list[tuple[Cell, ...]] = [(day or None, rest or None) for day, rest in cut]
    told = sum(bool(word_of("event", rest)[0] or word_of("work", rest)[0]) for _, rest in cut)
    if told < 0.3 * len(cut) and len(block.headers) > 1:
        return block
    second = "Event" if told >= 0.3 * len(cut) else "Shoe"
    return replace(block, headers=["Date", second], heads=[None, None], rows=rows)


def _join_date_columns(block: Block) -> Block:
    """Put year, month and day of a row together where each has a column of its own."""
    places: dict[str, int] = {}
    for n, header in enumerate(block.headers):
        part = next((part for part, words in DATE_PARTS.items() if plain(header) in words), "")
        numbers = [read_number(c) for c in block.column(n) if c is not None]
        if part and numbers and all(v is not None and v <= 2100 for v in numbers):
            places.setdefault(part, n)
    if len(places) < 3:
        return block
    kept = [n for n in range(len(block.headers)) if n not in places.values()]
    rows: list[tuple[Cell, ...]] = []
    for row in block.rows:
        parts = [text_of(row[places[part]]) for part in ("year", "month", "day")]
        told = "-".join(part.zfill(2) for part in parts) if all(parts) else None
        rows.append((told, *(row[n] for n in kept)))
    return replace(
        block,
        headers=["Date", *(block.headers[n] for n in kept)],
        heads=[None, *(block.heads[n] for n in kept)],
        rows=rows,
    )


def _cut(text: str, style: DateStyle) -> tuple[str, str]:
    words = text.split()
    for size in (4, 3, 2, 1):
        head = " ".join(words[:size]).rstrip(":,-–")
        if len(words) > size and any(c.isdigit() for c in head) and read_day(head, style):
            return head, " ".join(words[size:]).lstrip(":,-– ")
    return "", text
