"""Date columns: what does the forecast file say of draws of due days: dates, chances, band?"""

from __future__ import annotations

import numpy as np

from solespan.forecast.frames import CHANCE_DAYS, DUE_QUANTILES, WEARS_QUANTILES
from solespan.forecast.panel.panel import HOLE, Panel
from solespan.forecast.settings import ForecastSettings

__all__ = [
    "NEVER",
    "Columns",
    "bands",
    "date_columns",
    "dates_of_days",
    "newest_soles",
    "wears_columns",
]

Columns = dict[str, np.ndarray]
NEVER = np.datetime64("NaT", "s")


def date_columns(ordered: np.ndarray, as_of_day: int, settings: ForecastSettings) -> Columns:
    """Dates and chances of `forecast.frames.FORECAST`, and `_sound`, the chance behind that band.

    Parameters
    ----------
    ordered : ndarray, shape (rows, draws)
        Sorted draws of days until due; inf beyond the horizon.
    as_of_day : int
        Since 1970-01-01.
    settings : ForecastSettings
    """
    *due, send = _quantiles(ordered, (*DUE_QUANTILES.values(), settings.risk))
    days = np.array([*np.ceil(due), np.floor(send)])
    dates = dates_of_days(as_of_day, days, settings.horizon_days)
    columns: Columns = dict(zip((*DUE_QUANTILES, "send_by"), dates, strict=True))
    for name, within in CHANCE_DAYS.items():
        columns[name] = (ordered <= within).mean(axis=-1)
    columns["book_by"] = settings.book_by(columns["send_by"])
    columns["_sound"] = (ordered <= settings.sound_days).mean(axis=-1)
    return columns


def wears_columns(ordered: np.ndarray) -> Columns:
    """Wear days until the limit, to the tenth; 0 only where the limit is reached.

    `ordered` holds sorted draws of them, shape (rows, draws).
    """
    found = _quantiles(ordered, tuple(WEARS_QUANTILES.values()))
    tenths = np.where(found > 0.0, np.maximum(np.round(found, 1), 0.1), found)
    return dict(zip(WEARS_QUANTILES, tenths, strict=True))


def bands(
    panel: Panel,
    away: np.ndarray,
    pair: np.ndarray,
    rows: Columns,
    settings: ForecastSettings,
    point: int = 0,
) -> np.ndarray:
    """One band a pair, from its row of a point (the resole: 0), the bench and what was seen.

    Parameters
    ----------
    pair : ndarray of int
        Whose the rows are.
    rows : dict
        Their columns `book_by`, `chance_now` and `_sound`; NaN or NaT where nothing is said.
    """
    n = len(panel.pair_ids)
    holed = _holed(panel, point)
    soon = np.datetime64(panel.as_of_day, "D") + np.timedelta64(settings.book_in_days, "D")
    out = np.full(n, None, dtype=object)
    out[pair] = np.select(
        [
            away[pair],
            ~panel.has_sole[pair],
            holed[pair] | (rows["chance_now"] >= settings.stop_chance),
            rows["book_by"] <= soon,
            rows["_sound"] < settings.sound_chance,
        ],
        ["away", "retired", "stop wearing", "book in", "sound"],
        default="watch",
    )
    return out


def _holed(panel: Panel, point: int) -> np.ndarray:
    """Pairs on whose sole a hole was seen at a point."""
    hole = panel.obs_kind == HOLE
    hole &= panel.current[panel.obs_path] & (panel.path_point[panel.obs_path] == point)
    holed = np.zeros(len(panel.pair_ids), bool)
    holed[panel.path_pair[panel.obs_path[hole]]] = True
    return holed


def newest_soles(panel: Panel) -> np.ndarray:
    """Identifier of the sole that is or was on each pair last."""
    last = np.zeros(len(panel.pair_ids), int)
    last[panel.sole_pair] = np.arange(len(panel.sole_pair))
    return np.asarray(panel.sole_ids[last])


def _quantiles(ordered: np.ndarray, shares: tuple[float, ...]) -> np.ndarray:
    """Quantiles of sorted draws by linear interpolation (Hazen), inf kept.

    Parameters
    ----------
    ordered : ndarray, shape (rows, draws)

    Returns
    -------
    ndarray, shape (shares, rows)
    """
    draws = ordered.shape[-1]
    place = np.array(shares) * draws - 0.5
    low = np.clip(np.floor(place).astype(int), 0, draws - 1)
    a = ordered[:, low].T.astype(float)
    b = ordered[:, np.minimum(low + 1, draws - 1)].T.astype(float)
    beyond = (place - low)[:, None]
    with np.errstate(invalid="ignore"):
        out = a + beyond * (b - a)
    return np.where(np.isfinite(b), out, np.where(np.isfinite(a) & (beyond < 0.5), a, np.inf))


def dates_of_days(as_of_day: int, days: np.ndarray, horizon_days: int) -> np.ndarray:
    """Whole days after a day (since 1970-01-01) as dates; NaT beyond the horizon."""
    inside = days <= horizon_days
    out = np.full(days.shape, NEVER)
    start = np.datetime64(as_of_day, "D")
    out[inside] = (start + days[inside].astype("timedelta64[D]")).astype("datetime64[s]")
    return out
