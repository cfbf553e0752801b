"""Completion of lists: which names stand for the rows below them, and in which unit are numbers?"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from solespan.api.services.importing.sheets.cells.axis import text_of
from solespan.api.services.importing.sheets.cells.dates import DateStyle
from solespan.api.services.importing.sheets.cells.quantities import (
    currency_in,
    read_number,
    unit_in,
)
from solespan.api.services.importing.sheets.cells.words import TARGETS, plain
from solespan.api.services.importing.sheets.layout.blocks import Block
from solespan.api.services.importing.sheets.layout.use import Use
from solespan.api.services.importing.sheets.questions import Asker
from solespan.api.services.importing.sheets.sheet import Cell

__all__ = ["List", "fill_down", "find_currencies", "find_units"]

FILLED_DOWN = ("wearers.wearer_id", "wearers.name", "pairs.pair_id", "pairs.label")
THICKNESSES = ("soles.thickness", "soles.limit", "checks.value")


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


def fill_down(found: List, asker: Asker) -> None:
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


def find_currencies(found: List) -> None:
    """Give each column of money the one currency that its cells name."""
    for n, use in enumerate(found.uses):
        if TARGETS[use.target].kind == "money" and not currency_in(use.header):
            codes = {currency_in(text_of(cell)) for cell in found.block.column(use.at)} - {""}
            if len(codes) == 1:
                found.uses[n] = replace(use, facets={**use.facets, "currency": codes.pop()})


def find_units(found: List, asker: Asker) -> None:
    """Find the unit of each thickness: the header's, else by size, and asked where it is open."""
    for use in found.uses:
        if use.target not in THICKNESSES:
            continue
        unit = use.facets.get("unit", "")
        cells = [c for c in found.block.column(use.at) if not unit_in(text_of(c))]
        values = [v for c in cells if (v := read_number(c)) is not None]
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
