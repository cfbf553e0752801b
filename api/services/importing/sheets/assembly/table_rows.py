"""Table rows: which rows of the interchange tables came of which rows of the sheets?

Cells are text, as in the interchange files. A row that stands there already is found by its key.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pandas as pd

from solespan.api.services.importing.sheets.translation import Place
from solespan.forecast.frames import TABLES

__all__ = ["TableRows"]


class TableRows:
    """Rows by table and key, each with its place of origin."""

    def __init__(self) -> None:
        self.rows: dict[str, dict[tuple[str, ...], dict[str, str]]] = {name: {} for name in TABLES}
        self._verbatim: dict[str, list[tuple[dict[str, str], Place]]] = {}
        self._names: dict[str, list[str]] = {}
        self.places: dict[str, dict[tuple[str, ...], Place]] = {name: {} for name in TABLES}

    def key(self, table: str, row: Mapping[str, str]) -> tuple[str, ...]:
        """Return the key of a row."""
        return tuple(row.get(name, "") for name in TABLES[table].key)

    def find(self, table: str, row: Mapping[str, str]) -> tuple[Mapping[str, str], Place] | None:
        """Return the row of the same key, and its place."""
        key = self.key(table, row)
        known = self.rows[table].get(key)
        return None if known is None else (known, self.places[table][key])

    def add(self, table: str, row: Mapping[str, str], place: Place) -> None:
        """Add a row of a new key."""
        key = self.key(table, row)
        self.rows[table][key] = {name: value for name, value in row.items() if value}
        self.places[table][key] = place

    def add_verbatim(
        self, table: str, row: dict[str, str], place: Place, names: Sequence[str]
    ) -> None:
        """Add a row of a sheet that has our own columns, whatever its key."""
        self._verbatim.setdefault(table, []).append((row, place))
        known = self._names.setdefault(table, [])
        known += [name for name in names if name not in known]

    def frames(self) -> dict[str, pd.DataFrame]:
        """Return the tables: all stored columns, every cell text, empty = unknown."""
        out = {}
        for name, table in TABLES.items():
            columns = [column.name for column in table.stored]
            columns += [extra for extra in self._names.get(name, []) if extra not in columns]
            taken = [row for row, _ in self._verbatim.get(name, [])]
            rows = [[r.get(c, "") for c in columns] for r in (*taken, *self.rows[name].values())]
            out[name] = pd.DataFrame(rows, columns=columns, dtype=object)
        return out

    def origin(self) -> dict[str, list[Place]]:
        """Return the place of each row, in the order of the tables."""
        return {
            name: [*(place for _, place in self._verbatim.get(name, [])), *places.values()]
            for name, places in self.places.items()
        }
