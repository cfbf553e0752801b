"""Packed rows (dictionary encoding): how do millions of rows of one file stay in little memory?

Each cell is kept as the number of its text, and each text once. Rows come back as text, all rows of
some pairs at a time, so that the rows of one key are never apart.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from solespan.api.services.interchange.formulas import unguard
from solespan.api.services.interchange.reading import RawTable
from solespan.api.services.interchange.report import Finding
from solespan.forecast.frames import Table

__all__ = ["PackedRows"]

BATCH_ROWS = 50_000
PARTS_PER_BLOCK = 50
Numbers = npt.NDArray[np.unsignedinteger[Any]]


class PackedRows:
    """The rows of one file whose table has the column `pair_id`.

    `findings` are those of reading the file.
    """

    def __init__(self, table: Table, chunks: Iterable[RawTable]) -> None:
        self.table = table
        self.findings: list[Finding] = []
        self._file = f"{table.name}.csv"
        self._rows = 0
        self._starts: list[int] = []  # rows from which on the lines are without a gap ...
        self._first_lines: list[int] = []  # ... and the line of each of them
        columns: dict[str, _PackedColumn] = {}
        for chunk in chunks:
            self.findings += chunk.findings
            self._add_lines(chunk.lines)
            for name, cells in chunk.columns.items():
                columns.setdefault(name, _PackedColumn()).add(cells)
        self._columns = {name: columns.pop(name).packed() for name in list(columns)}
        # Two texts may be one id, with and without a guard against formulas.
        numbers, texts = self._columns["pair_id"]
        id_of_text, ids = pd.factorize(np.array([unguard(text) for text in texts], dtype=object))
        self.pair_ids = {text for text in ids if text}
        rows_of_text = np.zeros(len(texts), dtype=np.int64)
        for part in np.array_split(numbers, 1 + len(numbers) // BATCH_ROWS):
            rows_of_text += np.bincount(part, minlength=len(texts))
        ends = np.bincount(id_of_text, weights=rows_of_text, minlength=len(ids)).cumsum()
        self._batch_of_text = (ends.astype(np.int64)[id_of_text] - 1) // BATCH_ROWS

    def __len__(self) -> int:
        """Return the number of rows, unreadable ones apart."""
        return self._rows

    def batches(self) -> Iterator[RawTable]:
        """Give all rows, those of whole pairs together, in the order of the file within a batch."""
        numbers, _ = self._columns["pair_id"]
        for batch in np.unique(self._batch_of_text):
            rows = np.flatnonzero((self._batch_of_text == batch)[numbers])
            cells = {
                name: texts[numbers_of[rows]].tolist()
                for name, (numbers_of, texts) in self._columns.items()
            }
            yield RawTable(self.table, self._file, self._lines(rows), cells, [])

    def _add_lines(self, lines: list[int]) -> None:
        every = np.array(lines, dtype=np.int64)
        starts = np.flatnonzero(np.diff(every, prepend=-1) != 1)
        self._starts += (starts + self._rows).tolist()
        self._first_lines += every[starts].tolist()
        self._rows += len(lines)

    def _lines(self, rows: npt.NDArray[np.int64]) -> list[int]:
        starts, first_lines = np.array(self._starts), np.array(self._first_lines)
        run = np.searchsorted(starts, rows, side="right") - 1
        lines: list[int] = (first_lines[run] + rows - starts[run]).tolist()
        return lines


class _PackedColumn:
    """One column while it is read."""

    def __init__(self) -> None:
        self.number_of: dict[str, int] = {}
        self.parts: list[Numbers] = []
        self.blocks: list[Numbers] = []

    def add(self, cells: list[str]) -> None:
        codes, texts = pd.factorize(np.array(cells, dtype=object))
        numbers = [self.number_of.setdefault(text, len(self.number_of)) for text in texts]
        narrow = np.min_scalar_type(len(self.number_of))
        self.parts.append(np.array(numbers, dtype=narrow)[codes])
        if len(self.parts) == PARTS_PER_BLOCK:
            self._close_block()

    def packed(self) -> tuple[Numbers, npt.NDArray[np.object_]]:
        """Return the number of each row's text, and the texts."""
        self._close_block()
        return np.concatenate(self.blocks), np.array([*self.number_of], dtype=object)

    def _close_block(self) -> None:
        """Make one large array of many small ones: only large ones are given back when freed."""
        self.blocks.append(np.concatenate(self.parts or [np.empty(0, dtype=np.uint8)]))
        self.parts = []
