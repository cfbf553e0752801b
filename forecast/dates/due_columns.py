"""Columns of the forecast.

What does one row of the forecast say of a foot or a pair: dates, chances, band and reason?
"""

from __future__ import annotations

import numpy as np

from solespan.forecast.dates.due_draws import due_draws
from solespan.forecast.dates.first_passage import DRAWS
from solespan.forecast.dates.reasons import reasons
from solespan.forecast.frames import CHANCE_DAYS, DUE_QUANTILES, FEET, FORECAST, WEARING_POINTS
from solespan.forecast.model.sole_state import FootPairs, SoleState, foot_pairs
from solespan.forecast.model.wear_fit import WearFit
from solespan.forecast.model.wear_model import Conditioned
from solespan.forecast.panel.panel import HOLE
from solespan.forecast.settings import ForecastSettings

__all__ = ["Columns", "due_columns"]

Columns = dict[str, np.ndarray]
_GROUPS = 125  # drawn at a time, so that their draws stay in the processor's cache
_FOOT_WORDS = np.array([*FEET, "pair"], dtype=object)
_POINT_WORDS = np.array(WEARING_POINTS, dtype=object)
_PAIR = len(FEET)
_NEVER = np.datetime64("NaT", "s")


def due_columns(known: Conditioned, fit: WearFit, settings: ForecastSettings) -> Columns:
    """Columns of `forecast.frames.FORECAST` but `as_of`, and `_foot` and `_point` to sort by.

    Three rows (left, right, pair) for each sole on and point, and for each pair without a sole.
    """
    panel = known.panel
    feet = foot_pairs(panel)
    state = known.state(feet)
    parts = [
        _drawn(known, fit, FootPairs(feet.left[at], feet.right[at]), state.part(at), settings)
        for at in (slice(b, b + _GROUPS) for b in range(0, len(feet.left), _GROUPS))
    ]
    bare = np.ones(len(panel.pair_ids), bool)
    bare[panel.path_pair[panel.current]] = False
    if bare.any():
        parts.append(_without_sole(known, np.flatnonzero(bare)))
    columns = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    _add_bands(columns, known, settings)
    pair, path, other = columns.pop("_pair"), columns.pop("_path"), columns.pop("_other")
    columns["pair_id"] = panel.pair_ids[pair]
    columns["foot"] = _FOOT_WORDS[columns["_foot"]]
    columns["point"] = _POINT_WORDS[columns["_point"]]
    columns["chance_in_use"] = np.where(known.away, 1.0, known.in_use)[pair]
    columns["reason"] = np.array(reasons(known, path, other), dtype=object)
    return columns


def _drawn(
    known: Conditioned,
    fit: WearFit,
    feet: FootPairs,
    state: SoleState,
    settings: ForecastSettings,
) -> Columns:
    panel, left, right = known.panel, feet.left, feet.right
    draws = due_draws(known, state, left, right, fit)
    n = len(left)
    ordered = np.sort(draws.days, axis=-1)
    first_left = draws.left_first
    rate = _median(draws.rate_mm)
    thick = _median(draws.thickness_mm) + state.settling_mm
    leads = np.where(first_left >= 0.5, 0, 1)
    thinner = _median(draws.thickness_mm.min(axis=0)) + state.settling_mm.min(axis=0)
    word = np.full(n, None, dtype=object)
    word[first_left >= 0.6], word[first_left <= 0.4] = FEET
    columns: Columns = {
        "_pair": np.tile(panel.path_pair[left], 3),
        "_foot": np.repeat(np.arange(3), n),
        "_point": np.tile(panel.path_point[left], 3),
        "_path": np.concatenate([left, right, left]),
        "_other": np.concatenate([left, right, right]),
        "sole_id": np.tile(panel.sole_ids[panel.path_sole[left]], 3),
        "thickness_mm_p50": np.maximum(np.array([*thick, thinner]), 0.0).ravel(),
        "rate_mm_per_wear_day_p50": np.array([*rate, rate[leads, np.arange(n)]]).ravel(),
        "first_foot": np.tile(word, 3),
    }
    start = np.datetime64(panel.as_of_day, "D")
    *due, send = _quantiles(ordered.reshape(3 * n, -1), (*DUE_QUANTILES.values(), settings.risk))
    days = np.array([*np.ceil(due), np.floor(send)])
    dates = _dates(start, days, settings.horizon_days)
    columns.update(zip((*DUE_QUANTILES, "send_by"), dates, strict=True))
    for name, within in CHANCE_DAYS.items():
        columns[name] = _chance(ordered, within)
    columns["book_by"] = settings.book_by(columns["send_by"])
    columns["_sound"] = _chance(ordered, settings.sound_days)
    return columns


def _median(draws: np.ndarray) -> np.ndarray:
    """Median of an even number of draws; sorting rows so short is faster than selecting."""
    ordered = np.sort(draws, axis=-1)
    middle = ordered.shape[-1] // 2
    return np.asarray(0.5 * ordered[..., middle - 1 : middle + 1].sum(axis=-1, dtype=float))


def _chance(ordered: np.ndarray, within: float) -> np.ndarray:
    return np.asarray((ordered <= within).mean(axis=-1).ravel())


def _quantiles(ordered: np.ndarray, shares: tuple[float, ...]) -> np.ndarray:
    """Quantiles of sorted draws by linear interpolation (Hazen), inf kept.

    Parameters
    ----------
    ordered : ndarray, shape (rows, draws)

    Returns
    -------
    ndarray, shape (shares, rows)
    """
    place = np.array(shares) * DRAWS - 0.5
    low = np.maximum(np.floor(place).astype(int), 0)
    a = ordered[:, low].T.astype(float)
    b = ordered[:, np.minimum(low + 1, DRAWS - 1)].T.astype(float)
    beyond = (place - low)[:, None]
    with np.errstate(invalid="ignore"):
        out = a + beyond * (b - a)
    return np.where(np.isfinite(b), out, np.where(np.isfinite(a) & (beyond < 0.5), a, np.inf))


def _dates(start: np.datetime64, days: np.ndarray, horizon_days: int) -> np.ndarray:
    """Days ahead as dates; none beyond the horizon."""
    inside = days <= horizon_days
    out = np.full(days.shape, _NEVER)
    out[inside] = (start + days[inside].astype("timedelta64[D]")).astype("datetime64[s]")
    return out


def _without_sole(known: Conditioned, bare: np.ndarray) -> Columns:
    """Rows of pairs whose last sole was taken off."""
    panel, n = known.panel, len(bare)
    last_sole = np.zeros(len(panel.pair_ids), int)
    last_sole[panel.sole_pair] = np.arange(len(panel.sole_pair))
    columns: Columns = {
        "_pair": np.tile(bare, 3),
        "_foot": np.repeat(np.arange(_PAIR + 1), n),
        "_point": np.zeros(3 * n, int),
        "_path": np.full(3 * n, -1),
        "_other": np.full(3 * n, -1),
        "_sound": np.full(3 * n, np.nan),
        "sole_id": np.tile(panel.sole_ids[last_sole[bare]], 3),
        "first_foot": np.full(3 * n, None, dtype=object),
    }
    for column in FORECAST:
        if column.kind == "date" and column.name != "as_of":
            columns[column.name] = np.full(3 * n, _NEVER)
        elif column.kind == "number" and column.name != "chance_in_use":
            columns[column.name] = np.full(3 * n, np.nan)
    return columns


def _add_bands(columns: Columns, known: Conditioned, settings: ForecastSettings) -> None:
    """One band a pair, from its resole row, the bench and what was seen."""
    panel = known.panel
    hole = panel.obs_kind == HOLE
    hole &= panel.current[panel.obs_path] & (panel.path_point[panel.obs_path] == 0)
    holed = np.zeros(len(panel.pair_ids), bool)
    holed[panel.path_pair[panel.obs_path[hole]]] = True
    main = np.flatnonzero((columns["_foot"] == _PAIR) & (columns["_point"] == 0))
    pair = columns["_pair"][main]
    today = np.datetime64(panel.as_of_day, "D")
    soon = columns["book_by"][main] <= today + np.timedelta64(settings.book_in_days, "D")
    band = np.select(
        [
            known.away[pair],
            columns["_path"][main] < 0,
            holed[pair] | (columns["chance_now"][main] >= settings.stop_chance),
            soon,
            columns.pop("_sound")[main] < settings.sound_chance,
        ],
        ["away", "retired", "stop wearing", "book in", "sound"],
        default="watch",
    )
    by_pair = np.full(len(panel.pair_ids), None, dtype=object)
    by_pair[pair] = band
    columns["band"] = by_pair[columns["_pair"]]
