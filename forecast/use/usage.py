"""Use model: how much will each pair be worn from today on, and how sure is that?

Logged wear is counted in periods of four weeks. A wearer goes out so many days in a period, and
each pair gets a share by its weight. So a pair's pace falls when another joins the rack. Every pair
has a level and a yearly wave of its own, pooled towards its rack and its dress code. Going out has
them too. Pooling, memory and the chance of a change are those that forecast the user's own past
best. The error of the forecast is learnt from the same past.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace

import numpy as np

from solespan.forecast.use.rack_weights import Waves, faded, rack_weights, waves_of
from solespan.forecast.use.season import fit_season, season_factor
from solespan.forecast.use.wear_counts import PERIOD_DAYS, WearCounts

__all__ = ["UseFit", "drift_years", "fit_use"]

_YEAR_DAYS = 365.25
# Values tried one line after another, each with the best of the lines before: periods, wear days,
# SDs of log factors, chance per period. A small panel stays near `_Choice()`.
_TRIED: tuple[tuple[str, tuple[float, ...]], ...] = (
    ("half_life", (3.0, 6.0, 12.0, 26.0)),
    ("leaning", (2.0, 6.0, 15.0, 40.0)),
    ("own_season", (0.1, 0.25, 0.5, 1.0)),
    ("own_out_season", (0.05, 0.12, 0.25)),
    ("change", (0.0, 0.01, 0.03, 0.1)),
    ("half_life", (3.0, 6.0, 12.0, 26.0)),
    ("leaning", (2.0, 6.0, 15.0, 40.0)),
)
_DOUBT = 5.0  # rows of deviance that a step away from `_Choice()` must gain
ORIGINS = (2, 3, 5, 7, 9, 12, 15, 19, 24)  # periods back
HORIZONS = (1, 2, 3, 6, 12, 18, 24)
# What is believed of the error before any history: variance of (actual / expected) as
# dispersion/expected + uncertainty/known days + season * short log + drift * years. Common
# practice, no source.
PRIOR_ERROR = (1.6, 1.5, 0.04, 0.06)
PRIOR_WEIGHT = 40.0
_ENOUGH_PAIRS = 1000
_ENOUGH_PAST = 20
_DRIFT_RETURNS_YEARS = 3.0


@dataclass(frozen=True)
class UseFit:
    """What was learnt of use from the whole panel.

    half_life_periods, leaning_days : memory and pooling that forecast the past best.
    error : (dispersion, uncertainty, season, drift per year): variance of actual/expected is
    dispersion/expected days + uncertainty/known days + season * `WearCounts.short_log`
    + drift * `drift_years`.
    bias_log : log of actual/expected over the past, shrunk.
    season : {group: (cosine, sine)} of the log weight by dress code; group -1: of going out, with
    (cosine, sine) of the half-year behind.
    going_out_per_day : wear days per day of a wearer on average.
    exposure_per_wear_day : standard wear days per wear day on average.
    scored : number of (pair, origin, horizon) triples behind it.
    own_season, own_out_season : SD of the wave of a pair beside its dress code's, and of a wearer's
    going out beside the panel's.
    change : chance per period that a pair's habit changes.
    """

    half_life_periods: float
    leaning_days: float
    error: tuple[float, float, float, float]
    bias_log: float
    season: dict[int, tuple[float, ...]]
    going_out_per_day: float
    exposure_per_wear_day: float
    scored: int
    own_season: float
    own_out_season: float
    change: float

    def to_dict(self) -> dict[str, object]:
        """Plain values that JSON can hold."""
        out = asdict(self)
        out["season"] = {str(k): list(v) for k, v in self.season.items()}
        return out

    @classmethod
    def from_dict(cls, data: dict[str, object]) -> UseFit:
        """Undo `to_dict`."""
        values: dict[str, object] = dict(data)
        values["error"] = tuple(values["error"])  # type: ignore[arg-type]
        season = values["season"]
        values["season"] = {int(k): tuple(v) for k, v in season.items()}  # type: ignore[attr-defined]
        return cls(**values)  # type: ignore[arg-type]


@dataclass(frozen=True)
class _Choice:
    """What is chosen by how well it would have forecast the past."""

    half_life: float = 12.0
    leaning: float = 6.0
    own_season: float = 0.25
    own_out_season: float = 0.12
    change: float = 0.0

    def steps(self) -> int:
        """How many values away from the first choice."""
        first, out = _Choice(), 0
        for name, values in dict(_TRIED).items():
            out += abs(values.index(getattr(self, name)) - values.index(getattr(first, name)))
        return out


def drift_years(days: float | np.ndarray) -> np.ndarray:
    """Years ahead as drift counts them: habits wander, but come back within some years."""
    years = np.asarray(days) / _YEAR_DAYS
    slower = years / _DRIFT_RETURNS_YEARS
    slower += 1.0
    return np.asarray(years / slower)


def fit_use(counts: WearCounts) -> UseFit:
    """Learn season, memory, pooling and the error of the pace from the panel's own history.

    Parameters
    ----------
    counts : WearCounts

    Returns
    -------
    UseFit
        With little history everything falls back to the prior and `scored` says so.
    """
    season = fit_season(counts)
    everyone, counts = counts, _some_wearers(counts)
    chosen, kept = _Choice(), _PastWaves(counts, season)
    best = np.inf
    for name, values in _TRIED:
        for value in values:
            tried = replace(chosen, **{name: value})
            expected, actual, *_ = _past(counts, tried, kept)
            if len(expected) < _ENOUGH_PAST:
                continue
            loss = _loss(expected, actual) + _DOUBT * tried.steps() / len(expected)
            if loss < best - 1e-9:
                best, chosen = loss, tried
    past = _past(counts, chosen, kept)
    error, bias = _fit_error(past)
    counts = everyone
    waves = waves_of(counts, season, chosen.own_season, chosen.own_out_season)
    rack = rack_weights(counts, chosen.half_life, chosen.leaning, chosen.change, waves)
    fade = 0.5 ** (np.arange(counts.days.shape[1]) / chosen.half_life)
    exposure = (faded(counts.worn, fade).sum() + 5.0) / (rack.seen.sum() + 5.0)
    return UseFit(
        half_life_periods=chosen.half_life,
        leaning_days=chosen.leaning,
        error=error,
        bias_log=bias,
        season=season,
        going_out_per_day=float(np.mean(rack.going_out)),
        exposure_per_wear_day=float(exposure),
        scored=past.shape[1],
        own_season=chosen.own_season,
        own_out_season=chosen.own_out_season,
        change=chosen.change,
    )


def _some_wearers(counts: WearCounts) -> WearCounts:
    """Every k-th wearer of a large panel: memory and error need some thousand pairs, no more."""
    step = -(-len(counts.days) // _ENOUGH_PAIRS)
    if step <= 1:
        return counts
    return counts.kept(counts.wearer % step == 0)


class _PastWaves:
    """Waves as known at each earlier origin, found once for each pair of spreads."""

    def __init__(self, counts: WearCounts, season: dict[int, tuple[float, ...]]) -> None:
        self._counts, self._season = counts, season
        self._found: dict[tuple[float, float, int], Waves] = {}

    def at(self, chosen: _Choice, origin: int) -> Waves:
        """Waves as known so many periods ago."""
        key = chosen.own_season, chosen.own_out_season, origin
        if key not in self._found:
            self._found[key] = waves_of(self._counts, self._season, *key)
        return self._found[key]


def _loss(expected: np.ndarray, actual: np.ndarray) -> float:
    """Mean deviance of counts, large ones weighed less."""
    mu, n = np.maximum(expected, 1e-6), actual
    deviance = mu - n + n * np.log(np.maximum(n, 1e-12) / mu) * (n > 0)
    return float(np.mean(deviance / np.sqrt(1.0 + mu)))


def _past(counts: WearCounts, chosen: _Choice, kept: _PastWaves) -> np.ndarray:
    """Wear days after earlier origins: rows expected, actual, known days, short log, years."""
    parts = []
    for origin in ORIGINS:
        if counts.days.shape[1] <= origin + 2:
            continue
        waves, share = kept.at(chosen, origin), counts.year_share[:origin]
        rack = rack_weights(
            counts, chosen.half_life, chosen.leaning, chosen.change, waves, skip=origin
        )
        weight = rack.weight[:, None] * counts.open_days[:, :origin]
        weight *= season_factor(waves.pairs, share)
        out = rack.going_out[:, None] * counts.most_open[:, :origin]
        out *= season_factor(waves.out, share)
        out /= np.maximum(counts.by_wearer(weight), 1e-9)
        expected_each = out[counts.wearer] * weight
        before = counts.open_days[:, origin : origin + 3].sum(axis=1) > PERIOD_DAYS
        for horizon in HORIZONS:
            if horizon > origin:
                continue
            ahead = slice(origin - horizon, origin)
            could = counts.open_days[:, ahead].sum(axis=1)
            whole = before & (could > 0.8 * PERIOD_DAYS * horizon)
            expected = expected_each[:, ahead].sum(axis=1)
            actual = counts.days[:, ahead].sum(axis=1)
            years = np.full(len(expected), drift_years(horizon * PERIOD_DAYS))
            known = rack.seen + chosen.leaning
            told = np.array([expected, actual, known, counts.short_log(origin), years])
            parts.append(told[:, whole])
    return np.concatenate(parts, axis=1) if parts else np.zeros((5, 0))


def _fit_error(past: np.ndarray) -> tuple[tuple[float, float, float, float], float]:
    """Non-negative least squares of squared relative errors, with the prior as extra rows."""
    from scipy.optimize import nnls  # noqa: PLC0415

    prior = np.asarray(PRIOR_ERROR)
    expected, actual, known, short, years = past[:, past[0] > 0.5]
    bias = 0.0
    if len(expected):
        long = years >= drift_years(2 * PERIOD_DAYS)
        shrink = 300.0
        bias = float(np.log((actual[long].sum() + shrink) / (expected[long].sum() + shrink)))
    expected = expected * np.exp(bias)
    square = np.square(np.clip(actual / np.maximum(expected, 1e-9) - 1.0, -1.0, 3.0))
    terms = np.array([1.0 / np.maximum(expected, 1e-9), 1.0 / known, short, years]).T
    scale = 1.0 / np.maximum(terms @ prior, 1e-6)
    # neighbouring origins and horizons share days: a pair counts for about a fifth of its rows
    rows = terms * (scale * np.sqrt(0.2))[:, None]
    anchor = np.diag(1.0 / prior) * np.sqrt(PRIOR_WEIGHT)
    solution, _ = nnls(
        np.concatenate([rows, anchor]),
        np.concatenate([square * scale * np.sqrt(0.2), anchor @ prior]),
    )
    return (float(solution[0]), float(solution[1]), float(solution[2]), float(solution[3])), bias
