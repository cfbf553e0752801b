"""Columns of the forecast.

What does one row of the forecast say of a foot or a pair: dates, chances, band and reason?
"""

from __future__ import annotations

import numpy as np

from solespan.forecast.dates.date_columns import (
    NEVER,
    Columns,
    bands,
    date_columns,
    newest_soles,
    wears_columns,
)
from solespan.forecast.dates.due_draws import due_draws
from solespan.forecast.dates.reasons import reasons
from solespan.forecast.frames import FEET, FORECAST, WEARING_POINTS
from solespan.forecast.model.sole_state import SoleState
from solespan.forecast.model.wear_model import Conditioned
from solespan.forecast.panel.foot_pairs import FootPairs, foot_pairs
from solespan.forecast.settings import ForecastSettings

__all__ = ["due_columns"]

_GROUPS = 125  # drawn at a time, so that their draws stay in the processor's cache
_FOOT_WORDS = np.array([*FEET, "pair"], dtype=object)
_POINT_WORDS = np.array(WEARING_POINTS, dtype=object)
_PAIR = len(FEET)


def due_columns(known: Conditioned, settings: ForecastSettings) -> Columns:
    """Columns of `forecast.frames.FORECAST` but `as_of`, and `_foot` and `_point` to sort by.

    Three rows (left, right, pair) for each sole on and point, and for each pair without a sole.
    """
    panel = known.panel
    feet = foot_pairs(panel)
    state = known.state(feet)
    parts = [
        _drawn(known, feet.part(at), state.part(at), settings)
        for at in (slice(b, b + _GROUPS) for b in range(0, len(feet.left), _GROUPS))
    ]
    if not panel.has_sole.all():
        parts.append(_without_sole(np.flatnonzero(~panel.has_sole), newest_soles(panel)))
    columns = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    band = _bands(known, columns, settings)
    pair, path, other = columns.pop("_pair"), columns.pop("_path"), columns.pop("_other")
    columns["band"] = band[columns["_point"], pair]
    columns["pair_id"] = panel.pair_ids[pair]
    columns["foot"] = _FOOT_WORDS[columns["_foot"]]
    columns["point"] = _POINT_WORDS[columns["_point"]]
    columns["chance_in_use"] = np.where(known.away, 1.0, known.in_use)[pair]
    columns["reason"] = np.array(reasons(known, path, other), dtype=object)
    return columns


def _bands(known: Conditioned, columns: Columns, settings: ForecastSettings) -> np.ndarray:
    """Band of each point of each pair, shape (points, pairs): the heel's and the toe's own."""
    out = []
    for point in range(len(WEARING_POINTS)):
        main = np.flatnonzero((columns["_foot"] == _PAIR) & (columns["_point"] == point))
        rows = {name: columns[name][main] for name in ("book_by", "chance_now", "_sound")}
        out.append(bands(known.panel, known.away, columns["_pair"][main], rows, settings, point))
    return np.array(out)


def _drawn(
    known: Conditioned, feet: FootPairs, state: SoleState, settings: ForecastSettings
) -> Columns:
    panel, left, right = known.panel, feet.left, feet.right
    draws = due_draws(known, feet, state)
    n = len(left)
    ordered = np.sort(draws.days, axis=-1)
    first_left = draws.left_first
    rate = _median(draws.rate_mm)
    thick = _median(draws.thickness_mm) + state.settling_mm
    leads = np.where(first_left >= 0.5, 0, 1)
    thinner = _median(draws.thickness_mm.min(axis=0)) + state.settling_mm.min(axis=0)
    word = np.full(n, None, dtype=object)
    word[first_left >= 0.6], word[first_left <= 0.4] = FEET
    return {
        "_pair": np.tile(panel.path_pair[left], 3),
        "_foot": np.repeat(np.arange(3), n),
        "_point": np.tile(panel.path_point[left], 3),
        "_path": np.concatenate([left, right, left]),
        "_other": np.concatenate([left, right, right]),
        "sole_id": np.tile(panel.sole_ids[panel.path_sole[left]], 3),
        "thickness_mm_p50": np.maximum(np.array([*thick, thinner]), 0.0).ravel(),
        "rate_mm_per_wear_day_p50": np.array([*rate, rate[leads, np.arange(n)]]).ravel(),
        "first_foot": np.tile(word, 3),
        **wears_columns(np.sort(draws.wears, axis=-1).reshape(3 * n, -1)),
        **date_columns(ordered.reshape(3 * n, -1), panel.as_of_day, settings),
    }


def _median(draws: np.ndarray) -> np.ndarray:
    """Median of an even number of draws; sorting rows so short is faster than selecting."""
    ordered = np.sort(draws, axis=-1)
    middle = ordered.shape[-1] // 2
    return np.asarray(0.5 * ordered[..., middle - 1 : middle + 1].sum(axis=-1, dtype=float))


def _without_sole(bare: np.ndarray, sole_ids: np.ndarray) -> Columns:
    """Rows of pairs whose last sole was taken off."""
    n = len(bare)
    columns: Columns = {
        "_pair": np.tile(bare, 3),
        "_foot": np.repeat(np.arange(_PAIR + 1), n),
        "_point": np.zeros(3 * n, int),
        "_path": np.full(3 * n, -1),
        "_other": np.full(3 * n, -1),
        "_sound": np.full(3 * n, np.nan),
        "sole_id": np.tile(sole_ids[bare], 3),
        "first_foot": np.full(3 * n, None, dtype=object),
    }
    for column in FORECAST:
        if column.kind == "date" and column.name != "as_of":
            columns[column.name] = np.full(3 * n, NEVER)
        elif column.kind == "number" and column.name != "chance_in_use":
            columns[column.name] = np.full(3 * n, np.nan)
    return columns
