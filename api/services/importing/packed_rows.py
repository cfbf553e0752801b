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

from solespan.api.services.importing.formulas import unguard
from solespan.api.services.importing.reading import RawTable
from solespan.api.services.importing.report import Finding
from solespan.forecast.frames import Table

__all__ = ["PackedRows"]

BATCH_ROWS = 50_000
Numbers = npt.NDArray[np.unsignedinteger[Any]]


class PackedRows:
    """The rows of one file whose table has the column `pair_id`.

    `findings` are those of reading the file.
    """

    def __init__(self, table: Table, chunks: Iterable[RawTable]) -> None:
        self.table = table
        self.findings: list[Finding] = []
        self._file = f"{table.name}.csv"
        columns: dict[str, _PackedColumn] = {}
        lines = [np.empty(0, dtype=np.int32)]
        for chunk in chunks:
            self.findings += chunk.findings
            lines.append(np.array(chunk.lines, dtype=np.int32))
            for name, cells in chunk.columns.items():
                columns.setdefault(name, _PackedColumn()).add(cells)
        self._lines = np.concatenate(lines)
        self._columns = {name: column.packed() for name, column in columns.items()}
        # Two texts may be one id, with and without a guard against formulas.
        numbers, texts = self._columns["pair_id"]
        group_of_text, ids = pd.factorize(np.array([unguard(t) for t in texts], dtype=object))
        self.pair_ids = {text for text in ids if text}
        groups = group_of_text.astype(np.min_scalar_type(len(ids)))[numbers]
        self._ends = np.bincount(groups, minlength=len(ids)).cumsum()
        self._order = np.argsort(groups, kind="stable").astype(np.uint32)

    def __len__(self) -> int:
        """Return the number of rows, unreadable ones apart."""
        return len(self._lines)

    def batches(self) -> Iterator[RawTable]:
        """Give all rows, those of whole pairs together, in the order of the file within a batch."""
        start = 0
        while start < len(self):
            last = np.searchsorted(self._ends, start + BATCH_ROWS, side="right") - 1
            stop = int(self._ends[last]) if last >= 0 else 0
            if stop <= start:  # one pair with more rows than a batch should hold
                stop = int(self._ends[np.searchsorted(self._ends, start, side="right")])
            yield self._texts(np.sort(self._order[start:stop]))
            start = stop

    def _texts(self, rows: npt.NDArray[np.uint32]) -> RawTable:
        cells = {
            name: texts[numbers[rows]].tolist() for name, (numbers, texts) in self._columns.items()
        }
        return RawTable(self.table, self._file, self._lines[rows].tolist(), cells, [])


class _PackedColumn:
    """One column while it is read."""

    def __init__(self) -> None:
        self.number_of: dict[str, int] = {}
        self.parts: list[Numbers] = []

    def add(self, cells: list[str]) -> None:
        codes, texts = pd.factorize(np.array(cells, dtype=object))
        numbers = [self.number_of.setdefault(text, len(self.number_of)) for text in texts]
        narrow = np.min_scalar_type(len(self.number_of))
        self.parts.append(np.array(numbers, dtype=narrow)[codes])

    def packed(self) -> tuple[Numbers, npt.NDArray[np.object_]]:
        """Return the number of each row's text, and the texts."""
        texts = np.array(list(self.number_of), dtype=object)
        return np.concatenate(self.parts), texts
