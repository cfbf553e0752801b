"""Data errors: which mistakes do people make in interchange files, and where exactly was each made?

Every data error changes a few cells or adds a few rows of a folder in text form. It returns what it
did, so that a test can compare an importer's report.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
import pandas as pd

from solespan.synthetic_data.interchange import as_text

__all__ = ["DIRTS", "IRON_MM", "Soiled", "soil"]

IRON_MM = 25.4 / 48.0  # 1/48 inch, ASTM D1814
HEADER_LINES = 1

Folder = dict[str, pd.DataFrame]


@dataclass(frozen=True)
class Soiled:
    """One cell made wrong: `line` counts from 1 with the header; `expected` is what should happen.

    `expected` is `refused` for what cannot be true and `questioned` for what is odd but possible.
    """

    kind: str
    table: str
    line: int
    column: str
    before: str
    after: str
    expected: str


def soil(
    frames: Mapping[str, pd.DataFrame],
    rng: np.random.Generator,
    *,
    kinds: Iterable[str] | None = None,
    n_each: int = 2,
) -> tuple[Folder, list[Soiled]]:
    """Spoil a copy of these tables; no row is spoilt twice.

    Returns the tables in text form and every change. Raises `KeyError` for an unknown kind, and
    `ValueError` where a table has too few rows left to spoil.
    """
    folder = {name: frame.copy() for name, frame in as_text(frames).items()}
    done: list[Soiled] = []
    for kind in DIRTS if kinds is None else kinds:
        if kind not in DIRTS:
            raise KeyError(f"{kind!r} is not a dirt; known are {', '.join(DIRTS)}")
        done += DIRTS[kind](folder, rng, n_each, done)
    return folder, done


def _rows(
    table: str,
    keep: pd.Series,
    rng: np.random.Generator,
    n: int,
    done: list[Soiled],
) -> list[int]:
    """Choose `n` rows for which `keep` holds and that nothing has spoilt yet."""
    used = {s.line - HEADER_LINES - 1 for s in done if s.table == table}
    free = [i for i in np.flatnonzero(keep.to_numpy(dtype=bool)) if i not in used]
    if len(free) < n:
        raise ValueError(
            f"{table}: only {len(free)} rows can be spoilt this way, {n} were asked for"
        )
    return [int(i) for i in rng.choice(free, n, replace=False)]


def _set(
    folder: Folder, kind: str, table: str, row: int, column: str, text: str, expected: str
) -> Soiled:
    frame = folder[table]
    before = str(frame.loc[row, column])
    frame.loc[row, column] = text
    return Soiled(kind, table, row + HEADER_LINES + 1, column, before, text, expected)


def _cells(
    kind: str,
    table: str,
    column: str,
    spoil: Callable[[str], str],
    *,
    expected: str = "refused",
) -> Callable[[Folder, np.random.Generator, int, list[Soiled]], list[Soiled]]:
    """A dirt that rewrites filled cells of one column."""

    def dirty(folder: Folder, rng: np.random.Generator, n: int, done: list[Soiled]) -> list[Soiled]:
        rows = _rows(table, folder[table][column] != "", rng, n, done)
        cells = [(row, spoil(str(folder[table].loc[row, column]))) for row in rows]
        return [_set(folder, kind, table, row, column, text, expected) for row, text in cells]

    return dirty


def _swap_feet(
    folder: Folder, rng: np.random.Generator, n: int, done: list[Soiled]
) -> list[Soiled]:
    """Left typed as right and right as left, for one pair, day, point and method each."""
    checks = folder["checks"]
    visit = ["pair_id", "checked_on", "point", "method"]
    both = checks.duplicated(visit, keep=False) & (checks["foot"] == "left")
    both &= checks["value_mm"] != ""
    changes = []
    for row in _rows("checks", both, rng, n, done):
        same = (checks[visit] == checks.loc[row, visit]).all(axis=1)
        for k in np.flatnonzero(same.to_numpy()).tolist():
            other = "right" if checks.loc[k, "foot"] == "left" else "left"
            changes.append(_set(folder, "swapped_feet", "checks", k, "foot", other, "questioned"))
    return changes


def _double_days(
    folder: Folder, rng: np.random.Generator, n: int, done: list[Soiled]
) -> list[Soiled]:
    """The same pair and day a second time at the end, with other hours."""
    days = folder["wear_days"]
    changes = []
    for row in _rows("wear_days", days["worn_on"] != "", rng, n, done):
        before = str(days.loc[row, "hours"])
        other = "3" if before != "3" else "4"
        days.loc[len(days)] = days.loc[row].where(days.columns != "hours", other)
        line = len(days) + HEADER_LINES
        changes.append(Soiled("doubled_days", "wear_days", line, "hours", before, other, "refused"))
    return changes


def _other_order(iso: str) -> str:
    year, month, day = iso.split("-")
    return f"{day}/{month}/{year}"


def _in_irons(millimetres: str) -> str:
    return f"{float(millimetres) / IRON_MM:.1f}"


def _grown(millimetres: str) -> str:
    return f"{float(millimetres) + 2.0:.2f}"


DIRTS: Mapping[str, Callable[[Folder, np.random.Generator, int, list[Soiled]], list[Soiled]]] = (
    MappingProxyType(
        {
            "swapped_feet": _swap_feet,
            "irons_as_mm": _cells(
                "irons_as_mm", "checks", "value_mm", _in_irons, expected="questioned"
            ),
            "grown_thickness": _cells(
                "grown_thickness", "checks", "value_mm", _grown, expected="questioned"
            ),
            "doubled_days": _double_days,
            "future_dates": _cells("future_dates", "wear_days", "worn_on", lambda _: "2199-02-03"),
            "before_fitting": _cells(
                "before_fitting", "checks", "checked_on", lambda _: "1999-12-31"
            ),
            "other_date_order": _cells("other_date_order", "wear_days", "worn_on", _other_order),
            "unknown_pair": _cells("unknown_pair", "wear_days", "pair_id", lambda was: was + "x"),
            "bad_words": _cells("bad_words", "checks", "grade", lambda _: "squashy"),
            "not_a_number": _cells("not_a_number", "checks", "value_mm", lambda _: "NaN"),
            "decimal_comma": _cells(
                "decimal_comma",
                "checks",
                "value_mm",
                lambda was: f"{float(was):.2f}".replace(".", ","),
            ),
            "too_thick": _cells("too_thick", "checks", "value_mm", lambda _: "480"),
            "too_many_hours": _cells("too_many_hours", "wear_days", "hours", lambda _: "80"),
        }
    )
)
