"""Due table: how do a due list and an explanation look in a terminal?"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import Any

import pandas as pd
from rich.text import Text

from solespan.api.cli.grid import Grid, grid
from solespan.dashboards.order import AT_REST
from solespan.dashboards.wears_left import wears_short
from solespan.forecast import Explanation
from solespan.forecast.frames import PROBABLY_GONE
from solespan.forecast.log import WearLog

__all__ = ["due_table", "explanation_tables"]

# Band -> style; the word itself is always shown.
BAND_STYLES = {"stop wearing": "bold red", "book in": "bold yellow", "watch": "cyan"}
UNKNOWN = "-"


def due_table(frame: pd.DataFrame, log: WearLog, as_of: date) -> Grid:
    """Return one line per pair, by send-by date: `frame` has the columns `frames.FORECAST`.

    Pairs that are probably no longer in use stand last. A narrow terminal leaves out the wearer and
    what the forecast is based on.
    """
    resoles = frame[(frame["foot"] == "pair") & (frame["point"] == "ball")]
    pairs = log.pairs.set_index("pair_id")
    resoles = resoles.assign(gone=resoles["chance_in_use"].astype(float) < PROBABLY_GONE)
    order = ["gone", "send_by", "pair_id"]
    ordered: list[Any] = list(resoles.sort_values(order, na_position="last").itertuples())
    rows = []
    for row in ordered:
        pair = pairs.loc[row.pair_id] if row.pair_id in pairs.index else None
        label = None if pair is None else pair["label"]
        rows.append(
            (
                _day(row.send_by),
                _day(row.book_by),
                row.pair_id if pd.isna(label) else f"{row.pair_id} {label}",
                "" if pair is None else str(pair["wearer_id"]),
                Text("probably gone")
                if row.gone and row.band not in AT_REST
                else Text(_word(row.band), BAND_STYLES.get(str(row.band), "")),
                _between(row.due_p10, row.due_p90),
                wears_short(row._asdict()),
                _word(row.first_foot),
                _word(row.reason),
            )
        )
    return grid(
        (
            "send by",
            "book by",
            "pair",
            "wearer",
            "band",
            "due between",
            "wears left",
            "first",
            "why",
        ),
        rows,
        title=f"New soles due, as of {as_of}",
        caption="due between: from the 10 % to the 90 % quantile; - = beyond the horizon",
        spare=("why", "wearer"),
    )


def explanation_tables(told: Explanation) -> Iterator[Grid]:
    """Yield what drives the date, and which check would narrow it, the best one first."""
    if len(told.drivers):
        drivers = [
            (
                str(row.driver),
                _percent(row.effect_percent),
                f"{_percent(row.low_percent)} to {_percent(row.high_percent)}",
                _word(row.note),
            )
            for row in _rows(told.drivers)
        ]
        yield grid(("driver", "effect on wear", "80 % interval", "note"), drivers)
    if len(told.next_checks):
        best_first = told.next_checks.sort_values("interval_days_after", kind="stable")
        checks = [
            (
                f"{row.foot} {row.point}, {str(row.method).replace('_', ' ')}",
                _days(row.interval_days_now),
                _days(row.interval_days_after),
            )
            for row in _rows(best_first)
        ]
        title = "Which check would narrow the date most"
        yield grid(("check", "interval now", "after it"), checks, title=title)


def _rows(frame: pd.DataFrame) -> Iterator[Any]:
    return iter(frame.itertuples())


def _day(value: object) -> str:
    return UNKNOWN if pd.isna(value) else f"{pd.Timestamp(value):%Y-%m-%d}"  # type: ignore[arg-type, call-overload]


def _between(low: object, high: object) -> str:
    first, last = _day(low), _day(high)
    return UNKNOWN if first == last == UNKNOWN else f"{first} to {last}"


def _word(value: object) -> str:
    return "" if pd.isna(value) else str(value)  # type: ignore[call-overload]


def _percent(value: float) -> str:
    return UNKNOWN if pd.isna(value) else f"{value:+.0f} %"


def _days(value: float) -> str:
    return UNKNOWN if pd.isna(value) else f"{value:.0f} days"
