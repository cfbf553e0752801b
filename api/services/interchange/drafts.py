"""Drafts service.

Which rows of a file are still good, what do they say, and why are the others refused?
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from solespan.api.clock import is_time_zone
from solespan.api.services.interchange.formulas import unguard
from solespan.api.services.interchange.reading import RawTable
from solespan.api.services.interchange.report import NOTED, QUESTIONED, REFUSED, Finding
from solespan.forecast.frames import MAX_THICKNESS_MM, Column, Table
from solespan.forecast.units import iron_to_mm
from solespan.forecast.values import TEXT_PATTERNS, BadValue, reader_of

__all__ = ["Draft", "read_cells"]

Mask = npt.NDArray[np.bool_]
Why = str | Callable[[int], str]


class Draft:
    """The rows of one file: `frame` holds their values, `good` which of them may be taken.

    `frame` has the stored columns of the table in the order of the file. Dates are
    `datetime64[s]`, numbers float64, the rest object. `given` are the columns that the file really
    has.
    """

    def __init__(self, raw: RawTable) -> None:
        self.table: Table = raw.table
        self.file = raw.file
        self.lines = np.array(raw.lines, dtype=np.int64)
        self.cells = raw.columns
        self.good: Mask = np.ones(len(raw.lines), dtype=bool)
        self.doubled: Mask = np.zeros(len(raw.lines), dtype=bool)
        self.unreadable = len(raw.findings)
        self.findings: list[Finding] = list(raw.findings)
        self.frame = pd.DataFrame(index=range(len(raw.lines)))
        self.given: set[str] = set()
        self._unread: dict[str, Mask] = {}

    @property
    def rows(self) -> int:
        """Number of rows in the file, unreadable ones too."""
        return len(self.lines) + self.unreadable

    @property
    def refused(self) -> int:
        """Number of rows that are not taken, doubled ones apart."""
        return int((~self.good & ~self.doubled).sum()) + self.unreadable

    @property
    def taken(self) -> pd.DataFrame:
        """The good rows, with their place in the file as index."""
        return self.frame[self.good]

    def values(self, column: str) -> npt.NDArray[Any]:
        """Return one column as an array, in the order of the file."""
        return self.frame[column].to_numpy()

    def refuse(self, mask: Mask, column: str, why: Why, accepted: str = "") -> None:
        """Refuse the rows in `mask` that are still good; `why` may depend on the row's place."""
        self._find(REFUSED, mask & self.good, column, why, accepted)
        self.good &= ~mask

    def refuse_cells(self, mask: Mask, column: str, why: Why, accepted: str = "") -> None:
        """Refuse the rows in `mask` for one cell, so that all cells of a row are named at once."""
        stored = self.table.by_name[column].iron_of or column
        unread = self._unread.get(stored, np.zeros(len(self.lines), dtype=bool))
        self._find(REFUSED, mask & ~unread, column, why, accepted)
        self._unread[stored] = unread | mask
        self.good &= ~mask

    def question(self, mask: Mask, column: str, why: Why, accepted: str = "") -> None:
        """Question the good rows in `mask`; they are taken all the same."""
        self._find(QUESTIONED, mask & self.good, column, why, accepted)

    def leave_out(self, mask: Mask, column: str, why: Why) -> None:
        """Leave out good rows that add nothing, and note it."""
        self._find(NOTED, mask & self.good, column, why, "")
        self.doubled |= mask & self.good
        self.good &= ~mask

    def _find(self, severity: str, mask: Mask, column: str, why: Why, accepted: str) -> None:
        shown = self._shown(column)
        for place in np.flatnonzero(mask):
            at = int(place)
            self.findings.append(
                Finding(
                    severity,
                    self.file,
                    int(self.lines[at]),
                    shown,
                    self.cells[shown][at][:200] if shown in self.cells else "",
                    why if isinstance(why, str) else why(at),
                    accepted,
                )
            )

    def _shown(self, column: str) -> str:
        """Name the column as the file has it: millimetres may stand there in irons."""
        in_irons = column.replace("_mm", "_iron")
        return in_irons if column not in self.cells and in_irons in self.cells else column


def read_cells(raw: RawTable) -> Draft:
    """Read every cell of a file; rows with cells that cannot be read are refused."""
    draft = Draft(raw)
    read: dict[str, pd.Series[Any]] = {}
    for column in raw.table.columns:
        if column.name in raw.columns:
            read[column.name] = _read_column(draft, column, raw.columns[column.name])
            draft.given.add(column.iron_of or column.name)
    for column in raw.table.columns:
        if column.iron_of:
            _merge_irons(draft, column, read)
    for column in raw.table.stored:
        values = read.get(column.name)
        draft.frame[column.name] = _empty(column, len(draft.lines)) if values is None else values
        if column.required and column.name in draft.given:
            missing = draft.frame[column.name].isna().to_numpy()
            draft.refuse_cells(missing, column.name, "this column is required and empty", "a value")
    return draft


def _empty(column: Column, rows: int) -> pd.Series[Any]:
    if column.kind == "date":
        return pd.Series(np.full(rows, np.datetime64("NaT"), dtype="datetime64[s]"))
    if column.kind in ("number", "integer"):
        return pd.Series(np.full(rows, np.nan))
    return pd.Series([_default(column)] * rows, dtype=object)


def _default(column: Column) -> object:
    """Return what an empty cell means; the zone that a wearer inherits is known later."""
    return None if column.name == "time_zone" else column.default


def _cell_reader(column: Column) -> Callable[[str], Any]:
    """Return the reader of a cell: without a formula's guard, and for zones that are known."""
    read = reader_of(column)

    def read_cell(cell: str) -> Any:
        value = read(unguard(cell) if column.kind in ("id", "text") else cell)
        if column.name == "time_zone" and not is_time_zone(value):
            raise BadValue("this is not a known time zone", TEXT_PATTERNS["time_zone"][2])
        return value

    return read_cell


def _read_column(draft: Draft, column: Column, cells: Sequence[str]) -> pd.Series[Any]:
    """Read each different text once, and give every row its value."""
    codes, texts = pd.factorize(np.array(cells, dtype=object))
    read = _cell_reader(column)
    verbatim = column.kind in ("id", "text")
    values: list[Any] = []
    for code, text in enumerate(texts):
        cell = text if verbatim else text.strip()
        value = _default(column)
        if cell:
            try:
                value = read(cell)
            except BadValue as bad:
                draft.refuse_cells(codes == code, column.name, bad.why, bad.accepted)
        values.append(value)
    if column.kind == "date":
        known = np.array(values, dtype="datetime64[D]").astype("datetime64[s]")
    elif column.kind in ("number", "integer"):
        known = np.array(values, dtype="float64")
    else:
        known = np.empty(len(values), dtype=object)
        known[:] = values
    if not len(known):
        return _empty(column, 0)
    return pd.Series(known[codes], dtype=known.dtype)


def _merge_irons(draft: Draft, column: Column, read: dict[str, pd.Series[Any]]) -> None:
    """Turn irons into millimetres; exactly one of the two may be filled."""
    irons = read.pop(column.name, None)
    if irons is None:
        return
    as_mm = irons.map(iron_to_mm).clip(upper=MAX_THICKNESS_MM)  # the bound, not a rounding above it
    millimetres = read.get(column.iron_of)
    if millimetres is None:
        read[column.iron_of] = as_mm
        return
    both = (irons.notna() & millimetres.notna()).to_numpy()
    draft.refuse(
        both,
        column.name,
        f"both {column.iron_of} and {column.name} are filled",
        "a thickness in millimetres or in irons, the other empty",
    )
    read[column.iron_of] = millimetres.fillna(as_mm)
