"""Use model: how much will each pair be worn from today on, and how sure is that?

Logged wear is counted in periods of four weeks. A wearer goes out so many days in a period. The
choice among pairs follows each pair's weight, a share of the rack (Luce's choice rule). So a pair's
pace falls when another joins the rack. Both are discounted averages, pooled towards the panel and
the rack. The discount and the pooling are those that forecast the user's own past best. The error
of the forecast is learnt from the same past. Season is one yearly wave of the weights per dress
code and one of going out. The rack is taken to stay as it is.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace

import numpy as np

from solespan.forecast.priors import UNLOGGED_WEAR_DAYS_PER_DAY
from solespan.forecast.use.wear_counts import PERIOD_DAYS, WearCounts

__all__ = ["Pace", "UseFit", "current_pace", "fit_use"]

_YEAR_DAYS = 365.25
HALF_LIVES = (3.0, 6.0, 12.0, 26.0)  # periods
LEANING = (2.0, 6.0, 15.0, 40.0)  # wear days
ORIGINS = (2, 3, 5, 7, 9, 12, 15, 19, 24)  # periods back
HORIZONS = (1, 2, 3, 6, 12, 18, 24)
# What is believed of the error before any history: variance of (actual / expected) as
# dispersion/expected + uncertainty/known days + drift * years. Common practice, no source.
PRIOR_ERROR = (1.6, 1.5, 0.02, 0.06)
PRIOR_WEIGHT = 40.0
_POOL_OUT_DAYS = 8.0
_WEIGHT_STEPS = 8
_ENOUGH_PAIRS = 2000
_SEASON_SD = (0.25, 0.25, 0.12, 0.12)  # of the yearly and the half-yearly wave
_STILL = (0.0, 0.0, 0.0, 0.0)
_DRIFT_RETURNS_YEARS = 3.0
_LATENT_KNOWN_DAYS = 1e6  # of a latent pace: what is not known of it is drawn with the rates


@dataclass(frozen=True)
class UseFit:
    """What was learnt of use from the whole panel.

    half_life_periods, leaning_days : memory and pooling that forecast the past best.
    error : (dispersion, uncertainty, floor, drift per year): variance of actual/expected is
    dispersion/expected days + uncertainty/known days + floor + drift * `drift_years`.
    bias_log : log of actual/expected over the past, shrunk.
    season : {group: (cosine, sine)} of the log weight by dress code; group -1: of going out, with
    (cosine, sine) of the half-year behind.
    going_out_per_day : wear days per day of a wearer on average.
    exposure_per_wear_day : standard wear days per wear day on average.
    scored : number of (pair, origin, horizon) triples behind it.
    """

    half_life_periods: float
    leaning_days: float
    error: tuple[float, float, float, float]
    bias_log: float
    season: dict[int, tuple[float, ...]]
    going_out_per_day: float
    exposure_per_wear_day: float
    scored: int

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
class Pace:
    """Present pace of pairs.

    wear_days_per_day : ndarray, shape (pairs,)
        Wear days per calendar day, season taken out.
    exposure_per_wear_day : ndarray, shape (pairs,)
        Standard wear days per wear day.
    known_days : ndarray, shape (pairs,)
        Discounted wear days behind the pace, pooling included.
    wave : ndarray, shape (2, pairs)
        Cosine and sine of the log share of the rack over the year.
    follows : ndarray, shape (pairs,)
        1 where the pace is the latent one of unlogged days, else 0.
    """

    wear_days_per_day: np.ndarray
    exposure_per_wear_day: np.ndarray
    known_days: np.ndarray
    wave: np.ndarray
    follows: np.ndarray

    def latent(self, log_pace: np.ndarray, unlogged: np.ndarray) -> Pace:
        """The same with the latent pace of pairs whose wear is not logged.

        Parameters
        ----------
        log_pace : ndarray, shape (pairs,)
            Log of their standard wear days per `UNLOGGED_WEAR_DAYS_PER_DAY`.
        unlogged : ndarray of bool, shape (pairs,)
        """
        per_day = UNLOGGED_WEAR_DAYS_PER_DAY * np.exp(log_pace) / self.exposure_per_wear_day
        return replace(
            self,
            wear_days_per_day=np.where(unlogged, per_day, self.wear_days_per_day),
            known_days=np.where(unlogged, _LATENT_KNOWN_DAYS, self.known_days),
            follows=unlogged.astype(float),
        )


@dataclass(frozen=True)
class _Rack:
    """Discounted weights of pairs and going out of wearers at one origin."""

    weight: np.ndarray
    going_out: np.ndarray
    seen: np.ndarray


def drift_years(days: float | np.ndarray) -> np.ndarray:
    """Years ahead as drift counts them: habits wander, but come back within some years."""
    years = np.asarray(days) / _YEAR_DAYS
    slower = years / _DRIFT_RETURNS_YEARS
    slower += 1.0
    return np.asarray(years / slower)


def season_factor(wave: np.ndarray, year_share: np.ndarray) -> np.ndarray:
    """Factor of the pace at places in the year, shape (..., places), for waves (2 or 4, ...)."""
    wave = np.asarray(wave)
    log = np.zeros((*wave.shape[1:], len(year_share)))
    for height, swing in zip(wave, _swings(year_share), strict=False):
        log += np.multiply.outer(height, swing)
    return np.asarray(np.exp(log, out=log))


def _swings(year_share: np.ndarray) -> np.ndarray:
    """Cosine and sine of the year and of the half-year at places in the year."""
    angle = 2 * np.pi * year_share
    return np.array([np.cos(angle), np.sin(angle), np.cos(2 * angle), np.sin(2 * angle)])


def _waves(season: dict[int, tuple[float, ...]], group: np.ndarray) -> np.ndarray:
    """Wave of each pair's weight, shape (2, pairs)."""
    table = np.zeros((2, int(group.max(initial=0)) + 1))
    for code, wave in season.items():
        if 0 <= code < table.shape[1]:
            table[:, code] = wave
    return table[:, group]


def _faded(values: np.ndarray, fade: np.ndarray) -> np.ndarray:
    """Sums over periods, the older the less; without waking threads as a product would."""
    return np.asarray(np.einsum("pt,t->p", values, fade))


def _rack(
    counts: WearCounts,
    half_life: float,
    leaning: float,
    season: dict[int, tuple[float, ...]],
    skip: int,
    panel: float | None = None,
) -> _Rack:
    """Weights and going out as known `skip` periods before the newest.

    Wearers with little history go by `panel`, a mean of going out; default: that of these.
    """
    days, open_days = counts.days[:, skip:], counts.open_days[:, skip:]
    share = counts.year_share[skip:]
    fade = 0.5 ** (np.arange(days.shape[1]) / half_life)
    could = open_days * season_factor(_waves(season, counts.group), share)
    out_days = counts.by_wearer(days)
    weight = np.ones(len(days))
    seen = _faded(days, fade)
    for _ in range(_WEIGHT_STEPS):
        total = counts.by_wearer(weight[:, None] * could)
        each = (fade * out_days / np.maximum(total, 1e-9))[counts.wearer]
        expected = np.einsum("pt,pt->p", could, each)
        weight = (seen + leaning) / (expected + leaning)
    season_out = season_factor(np.asarray(season.get(-1, _STILL)), share)
    went = _faded(out_days, fade)
    could_go = _faded(counts.most_open[:, skip:], season_out * fade)
    if panel is None:
        panel = (went.sum() + 2.0) / (could_go.sum() + 5.0)
    going_out = (went + _POOL_OUT_DAYS) / (could_go + _POOL_OUT_DAYS / panel)
    return _Rack(weight, going_out, seen)


def current_pace(counts: WearCounts, use: UseFit, present: np.ndarray) -> Pace:
    """Pace of every pair from today on, the rack staying as it is.

    Parameters
    ----------
    counts : WearCounts
    use : UseFit
    present : ndarray of bool, shape (pairs,)
        Which pairs share the rack from now on (have a sole on).
    """
    season, leaning_days = use.season, use.leaning_days
    rack = _rack(
        counts, use.half_life_periods, leaning_days, season, 0, panel=use.going_out_per_day
    )
    here = rack.weight * present
    total = counts.by_wearer(here)[counts.wearer]
    # a pair that is not on the rack is given the pace it would have if it came back
    total = np.where(present, total, total + rack.weight)
    share = rack.weight / np.maximum(total, 1e-9)
    waves = _waves(season, counts.group)
    mean_wave = counts.by_wearer((waves * (share * present)).T)[counts.wearer].T
    wave = waves - mean_wave
    fade = 0.5 ** (np.arange(counts.days.shape[1]) / use.half_life_periods)
    exposure = _faded(counts.worn, fade)
    wearer_exposure = (counts.by_wearer(exposure) + 20.0 * use.exposure_per_wear_day) / (
        counts.by_wearer(rack.seen) + 20.0
    )
    per_day = (exposure + 15.0 * wearer_exposure[counts.wearer]) / (rack.seen + 15.0)
    pace = rack.going_out[counts.wearer] * share
    return Pace(pace, per_day, rack.seen + leaning_days, wave, np.zeros(len(pace)))


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
    season = _fit_season(counts)
    everyone, counts = counts, _some_wearers(counts)
    best: tuple[float, float, float] = (np.inf, 6.0, 6.0)
    for half_life in HALF_LIVES:
        for leaning in LEANING:
            expected, actual, *_ = _past(counts, half_life, leaning, season)
            if len(expected) < 20:
                continue
            mu, n = np.maximum(expected, 1e-6), actual
            deviance = mu - n + n * np.log(np.maximum(n, 1e-12) / mu) * (n > 0)
            loss = float(np.mean(deviance / np.sqrt(1.0 + mu)))
            if loss < best[0] - 1e-9:
                best = (loss, half_life, leaning)
    _, half_life, leaning = best
    expected, actual, known, years = _past(counts, half_life, leaning, season)
    error, bias = _fit_error(expected, actual, known, years)
    counts = everyone
    rack = _rack(counts, half_life, leaning, season, 0)
    going_out = float(np.mean(rack.going_out))
    fade = 0.5 ** (np.arange(counts.days.shape[1]) / half_life)
    exposure = float((_faded(counts.worn, fade).sum() + 5.0) / (rack.seen.sum() + 5.0))
    return UseFit(half_life, leaning, error, bias, season, going_out, exposure, len(expected))


def _some_wearers(counts: WearCounts) -> WearCounts:
    """Every k-th wearer of a large panel: memory and error need some thousand pairs, no more."""
    step = -(-len(counts.days) // _ENOUGH_PAIRS)
    if step <= 1:
        return counts
    return counts.kept(counts.wearer % step == 0)


def _past(
    counts: WearCounts, half_life: float, leaning: float, season: dict[int, tuple[float, ...]]
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Expected and actual wear days after earlier origins: expected, actual, known days, years."""
    factor = season_factor(_waves(season, counts.group), counts.year_share)
    factor_out = season_factor(np.asarray(season.get(-1, _STILL)), counts.year_share)
    parts = []
    for origin in ORIGINS:
        if counts.days.shape[1] <= origin + 2:
            continue
        rack = _rack(counts, half_life, leaning, season, origin)
        weight = rack.weight[:, None] * counts.open_days[:, :origin] * factor[:, :origin]
        share = weight / np.maximum(counts.by_wearer(weight)[counts.wearer], 1e-9)
        out = rack.going_out[:, None] * counts.most_open[:, :origin] * factor_out[:origin]
        expected_each = out[counts.wearer] * share
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
            known = rack.seen + leaning
            parts.append(np.array([expected[whole], actual[whole], known[whole], years[whole]]))
    if not parts:
        return (np.zeros(0),) * 4
    joined = np.concatenate(parts, axis=1)
    return joined[0], joined[1], joined[2], joined[3]


def _fit_error(
    expected: np.ndarray, actual: np.ndarray, known: np.ndarray, years: np.ndarray
) -> tuple[tuple[float, float, float, float], float]:
    """Non-negative least squares of squared relative errors, with the prior as extra rows."""
    from scipy.optimize import nnls  # noqa: PLC0415

    prior = np.asarray(PRIOR_ERROR)
    keep = expected > 0.5
    expected, actual, known, years = expected[keep], actual[keep], known[keep], years[keep]
    bias = 0.0
    if len(expected):
        long = years >= drift_years(2 * PERIOD_DAYS)
        shrink = 300.0
        bias = float(np.log((actual[long].sum() + shrink) / (expected[long].sum() + shrink)))
    expected = expected * np.exp(bias)
    square = np.square(np.clip(actual / np.maximum(expected, 1e-9) - 1.0, -1.0, 3.0))
    terms = np.array([1.0 / np.maximum(expected, 1e-9), 1.0 / known, np.ones_like(known), years]).T
    scale = 1.0 / np.maximum(terms @ prior, 1e-6)
    # neighbouring origins and horizons share days: a pair counts for about a fifth of its rows
    rows = terms * (scale * np.sqrt(0.2))[:, None]
    anchor = np.diag(1.0 / prior) * np.sqrt(PRIOR_WEIGHT)
    solution, _ = nnls(
        np.concatenate([rows, anchor]),
        np.concatenate([square * scale * np.sqrt(0.2), anchor @ prior]),
    )
    return (float(solution[0]), float(solution[1]), float(solution[2]), float(solution[3])), bias


def _fit_season(counts: WearCounts) -> dict[int, tuple[float, ...]]:
    """Waves of the weights by dress code, then of going out, shrunk towards none.

    Given how often a wearer went out, the weights' wave shows in which pair was taken; Poisson
    scoring steps with the shares as they stand.
    """
    swings = _swings(counts.year_share)
    season: dict[int, tuple[float, ...]] = {int(g): (0.0, 0.0) for g in np.unique(counts.group)}
    out_days = counts.by_wearer(counts.days)
    for _ in range(4):
        rack = _rack(counts, 26.0, 6.0, season, 0)
        weight = rack.weight[:, None] * counts.open_days
        weight *= season_factor(_waves(season, counts.group), counts.year_share)
        total = np.maximum(counts.by_wearer(weight), 1e-9)
        mean = weight * (out_days / total)[counts.wearer]
        step = {
            g: _wave_step(counts.days, mean, counts.group == g, swings[:2], season[g])
            for g in season
        }
        season = step
    could = counts.most_open
    wave: tuple[float, ...] = _STILL
    every = np.ones(len(could), bool)
    for _ in range(4):
        seasonal = could * season_factor(np.asarray(wave), counts.year_share)
        rate = (out_days.sum(axis=1) + 0.5) / (seasonal.sum(axis=1) + 2.0)
        wave = _wave_step(out_days, rate[:, None] * seasonal, every, swings, wave)
    season[-1] = wave
    return season


def _wave_step(
    days: np.ndarray,
    mean: np.ndarray,
    rows: np.ndarray,
    swings: np.ndarray,
    wave: tuple[float, ...],
) -> tuple[float, ...]:
    """One scoring step; use comes in streaks, so counts carry a third of their information."""
    precision = np.array(_SEASON_SD[: len(swings)]) ** -2.0
    residual = (days[rows] - mean[rows]).sum(axis=0)
    total = mean[rows].sum(axis=0)
    information = (swings * total) @ swings.T / 3.0 + np.diag(precision)
    gradient = swings @ residual / 3.0 - np.asarray(wave) * precision
    moved = np.asarray(wave) + np.linalg.solve(information, gradient)
    return tuple(float(height) for height in moved)
