"""When will each pair be at its limit, which foot first, and by when should it be sent and booked?

`forecast` answers with one row per tracked foot and point and one per pair and point, in the
columns of `forecast.frames.FORECAST`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from forecast.calendar import days_until
from forecast.first_passage import DRAWS, normal_points, remaining_exposure
from forecast.frames import CHANCE_DAYS, DUE_QUANTILES, FEET, FORECAST, WEARING_POINTS
from forecast.log import WearLog
from forecast.panel import HOLE
from forecast.reasons import reasons
from forecast.settings import ForecastSettings
from forecast.sole_state import FootPairs, SoleState, foot_pairs, sole_state
from forecast.wear_fit import WearFit
from forecast.wear_model import Conditioned, condition

__all__ = ["DueDraws", "due_draws", "due_sample", "forecast"]

_BLOCK = 1000


@dataclass(frozen=True)
class DueDraws:
    """Draws for groups (a sole's two feet at one point).

    days : ndarray, shape (3, groups, draws)
        Days from as_of until left, right, and the first of both are at the limit; inf beyond.
    left_first : ndarray, shape (groups,)
        Chance that the left is at its limit before the right.
    rate_mm, thickness_mm : ndarray, shape (2, groups, draws)
    """

    days: np.ndarray
    left_first: np.ndarray
    rate_mm: np.ndarray
    thickness_mm: np.ndarray


def due_draws(
    known: Conditioned, state: SoleState, left: np.ndarray, right: np.ndarray, fit: WearFit
) -> DueDraws:
    """Draw due days of groups given by their left and right paths."""
    panel = known.panel
    limit = np.array([panel.limit_mm[left], panel.limit_mm[right]])
    remaining, rate, thickness = remaining_exposure(state, limit, fit.noise.process_mm)
    members = panel.path_pair[left]
    use = normal_points()[8]
    left_days, right_days = (days_until(known.ahead, part, use, members) for part in remaining)
    # both feet share one use, so the first of the days is the day of the first
    days = np.array([left_days, right_days, np.minimum(left_days, right_days)])
    sooner = (remaining[0] < remaining[1]) + 0.5 * (remaining[0] == remaining[1])
    return DueDraws(days, sooner.mean(axis=-1), rate, thickness)


def forecast(
    fit: WearFit,
    log: WearLog,
    as_of: str | pd.Timestamp,
    settings: ForecastSettings | None = None,
) -> pd.DataFrame:
    """Forecast every pair of a log.

    Parameters
    ----------
    fit : WearFit
        The population.
    log : WearLog
        All or some wearers (whole racks: a pair leans on its wearer's others).
    as_of : date-like
        The day of the forecast; nothing later is used.
    settings : ForecastSettings, optional

    Returns
    -------
    DataFrame
        Columns of `forecast.frames.FORECAST`: per pair and point the rows left, right, pair. Every
        pair has its three ball rows; a pair without a sole on it has empty dates.

    Raises
    ------
    TooLittleData
        No sole was fitted by `as_of`.
    """
    settings = settings or ForecastSettings()
    day = pd.Timestamp(as_of).normalize()
    known = condition(fit, log, day, settings.horizon_days)
    feet = foot_pairs(known.panel)
    parts = []
    for begin in range(0, len(feet.left), _BLOCK):
        left = feet.left[begin : begin + _BLOCK]
        right = feet.right[begin : begin + _BLOCK]
        parts.append(_rows(known, fit, left, right, settings))
    shelf = _without_sole(known)
    frame = pd.concat([*parts, shelf], ignore_index=True) if len(shelf) else pd.concat(parts)
    frame["as_of"] = day
    frame = _with_bands(frame, known, log, day, settings)
    frame["reason"] = reasons(known, frame)
    frame["as_of"] = frame["as_of"].astype("datetime64[s]")
    order = {word: i for i, word in enumerate((*FEET, "pair"))}
    point = {word: i for i, word in enumerate(WEARING_POINTS)}
    frame = frame.assign(_f=frame["foot"].map(order), _p=frame["point"].map(point))
    frame = frame.sort_values(["pair_id", "_p", "_f"]).reset_index(drop=True)
    return frame[[c.name for c in FORECAST]]


def due_sample(
    fit: WearFit, log: WearLog, as_of: str | pd.Timestamp, horizon_days: int = 1826
) -> pd.DataFrame:
    """Draws of the days until each pair's resole is due, for scoring.

    Returns
    -------
    DataFrame, shape (pairs with a sole on, 512)
        Index pair_id; days from `as_of`, cut at the horizon.
    """
    known = condition(fit, log, pd.Timestamp(as_of).normalize(), horizon_days)
    panel = known.panel
    feet = foot_pairs(panel)
    ball = panel.path_point[feet.left] == 0
    feet = FootPairs(feet.left[ball], feet.right[ball])
    state = sole_state(panel, known.layout, known.lin, known.posterior, known.centre, feet)
    draws = due_draws(known, state, feet.left, feet.right, fit)
    days = np.minimum(draws.days[2], horizon_days)
    return pd.DataFrame(days, index=panel.pair_ids[panel.path_pair[feet.left]])


def _rows(
    known: Conditioned,
    fit: WearFit,
    left: np.ndarray,
    right: np.ndarray,
    settings: ForecastSettings,
) -> pd.DataFrame:
    """Three rows (left, right, pair) for each group."""
    panel = known.panel
    state = sole_state(
        panel, known.layout, known.lin, known.posterior, known.centre, FootPairs(left, right)
    )
    draws = due_draws(known, state, left, right, fit)
    n = len(left)
    ordered = np.sort(draws.days, axis=-1)
    first_left = draws.left_first
    rate = np.median(draws.rate_mm, axis=-1)
    thick = np.median(draws.thickness_mm, axis=-1) + state.settling_mm
    leads = np.where(first_left >= 0.5, 0, 1)
    both_rate = np.array([*rate, rate[leads, np.arange(n)]])
    thinner = np.median(draws.thickness_mm.min(axis=0), axis=-1) + state.settling_mm.min(axis=0)
    both_thick = np.array([*thick, thinner])
    columns: dict[str, np.ndarray] = {
        "pair_id": np.tile(panel.pair_ids[panel.path_pair[left]], 3),
        "sole_id": np.tile(panel.sole_ids[panel.path_sole[left]], 3),
        "foot": np.repeat(np.array([*FEET, "pair"], dtype=object), n),
        "point": np.tile(np.array(WEARING_POINTS, dtype=object)[panel.path_point[left]], 3),
        "thickness_mm_p50": np.maximum(both_thick, 0.0).ravel(),
        "rate_mm_per_wear_day_p50": both_rate.ravel(),
    }
    start = np.datetime64(panel.as_of_day, "D")
    for name, share in DUE_QUANTILES.items():
        columns[name] = _dates(start, np.ceil(_quantile(ordered, share)), settings.horizon_days)
    for name, within in CHANCE_DAYS.items():
        columns[name] = (draws.days <= within).mean(axis=-1).ravel()
    send = np.floor(_quantile(ordered, settings.risk))
    columns["send_by"] = _dates(start, send, settings.horizon_days)
    columns["book_by"] = settings.book_by(columns["send_by"])
    word = np.full(n, None, dtype=object)
    word[first_left >= 0.6], word[first_left <= 0.4] = FEET
    columns["first_foot"] = np.tile(word, 3)
    columns["_sound"] = (draws.days <= settings.sound_days).mean(axis=-1).ravel()
    columns["_path"] = np.concatenate([left, right, left])
    columns["_other"] = np.concatenate([left, right, right])
    return pd.DataFrame(columns)


def _quantile(ordered: np.ndarray, share: float) -> np.ndarray:
    """Quantile of sorted draws by linear interpolation (Hazen), inf kept."""
    place = share * DRAWS - 0.5
    low = int(np.floor(place))
    low, high = max(low, 0), min(low + 1, DRAWS - 1)
    a, b = ordered[..., low], ordered[..., high]
    with np.errstate(invalid="ignore"):
        out = a + (place - low) * (b - a)
    return np.where(np.isfinite(b), out, np.where(np.isfinite(a) & (place - low < 0.5), a, np.inf))


def _dates(start: np.datetime64, days: np.ndarray, horizon_days: int) -> np.ndarray:
    flat = days.ravel()
    inside = flat <= horizon_days
    out = np.full(flat.shape, np.datetime64("NaT", "s"), dtype="datetime64[s]")
    out[inside] = (start + flat[inside].astype("timedelta64[D]")).astype("datetime64[s]")
    return out


def _without_sole(known: Conditioned) -> pd.DataFrame:
    """Rows of pairs whose last sole was taken off."""
    panel = known.panel
    with_sole = np.zeros(len(panel.pair_ids), bool)
    with_sole[panel.path_pair[panel.current]] = True
    bare = np.flatnonzero(~with_sole)
    last_sole = np.zeros(len(panel.pair_ids), int)
    last_sole[panel.sole_pair] = np.arange(len(panel.sole_pair))
    n = len(bare)
    frame = pd.DataFrame(
        {
            "pair_id": np.tile(panel.pair_ids[bare], 3),
            "sole_id": np.tile(panel.sole_ids[last_sole[bare]], 3),
            "foot": np.repeat(np.array([*FEET, "pair"], dtype=object), n),
            "point": "ball",
            "_path": -1,
            "_other": -1,
        }
    )
    for column in FORECAST:
        if column.name not in frame:
            frame[column.name] = pd.NaT if column.kind == "date" else np.nan
            if column.kind == "date":
                frame[column.name] = frame[column.name].astype("datetime64[s]")
    frame["first_foot"] = None
    frame["_sound"] = np.nan
    return frame


def _with_bands(
    frame: pd.DataFrame,
    known: Conditioned,
    log: WearLog,
    day: pd.Timestamp,
    settings: ForecastSettings,
) -> pd.DataFrame:
    """One band a pair, from its resole row, the bench and what was seen."""
    panel = known.panel
    jobs = log.bench_jobs
    open_job = (jobs["received_on"] <= day) & ~(jobs["returned_on"] <= day)
    away = set(jobs.loc[open_job, "pair_id"])
    hole = panel.obs_kind == HOLE
    hole &= panel.current[panel.obs_path] & (panel.path_point[panel.obs_path] == 0)
    holed = set(panel.pair_ids[panel.path_pair[panel.obs_path[hole]]])
    main = frame[(frame["foot"] == "pair") & (frame["point"] == "ball")]
    soon = main["book_by"] <= day + pd.Timedelta(days=settings.book_in_days)
    band = np.select(
        [
            main["pair_id"].isin(away),
            main["_path"] < 0,
            main["pair_id"].isin(holed) | (main["chance_now"] >= settings.stop_chance),
            soon,
            main["_sound"] < settings.sound_chance,
        ],
        ["away", "retired", "stop wearing", "book in", "sound"],
        default="watch",
    )
    by_pair = pd.Series(band, index=main["pair_id"].to_numpy())
    frame["band"] = frame["pair_id"].map(by_pair)
    return frame
