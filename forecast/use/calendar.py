"""Calendar of use: on which day will a number of standard wear days have been worn?

Wear to come by day d is the present pace times the season's days until d, times an uncertain factor
whose spread grows with d. Wear only grows. So "due by day d" is the same event as "wear by day d
reaches the remaining exposure". Only the distribution of wear by each day matters.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from solespan.forecast.use.usage import Pace, UseFit, drift_years, season_factor

__all__ = ["UseAhead", "days_until", "gamma_factor", "use_ahead", "wear_days_ahead"]

_YEAR_DAYS = 365.25
_FIXED_POINT_STEPS = 3
_WAVE_STEP = 0.04
_LATENT_LESS = 0.6


@dataclass(frozen=True)
class UseAhead:
    """Use of n pairs from today on.

    per_day : ndarray, shape (n,)
        Standard wear days per calendar day, season taken out.
    wear_days_per_day, known_days : ndarray, shape (n,)
        Wear days per calendar day and the wear days behind it.
    follows : ndarray, shape (n,)
        How far the use follows the latent pace of unlogged days, 0 to 1.
    curve : ndarray of int, shape (n,)
        Which season curve a pair follows.
    season_days : ndarray, shape (curves, horizon + 2)
        Cumulative season factor: day -> days at the mean pace.
    """

    per_day: np.ndarray
    wear_days_per_day: np.ndarray
    known_days: np.ndarray
    follows: np.ndarray
    curve: np.ndarray
    season_days: np.ndarray
    error: tuple[float, float, float, float]

    def spread(self, days: np.ndarray, member: np.ndarray) -> np.ndarray:
        """SD of wear until so many days ahead over its mean, for members of the n pairs."""
        dispersion, uncertainty, floor, drift = map(float, self.error)
        variance = np.maximum(days, 1.0)
        variance *= self.wear_days_per_day[member].astype(days.dtype)  # expected wear days
        np.maximum(variance, 1e-3, out=variance)
        np.divide(dispersion, variance, out=variance)
        # a latent pace is drawn with the rates: less is left to the use itself
        free = (1.0 - _LATENT_LESS * self.follows[member]).astype(days.dtype)
        variance += (uncertainty / self.known_days[member] + floor).astype(days.dtype) * free
        wander = drift_years(days)
        wander *= drift
        wander *= free
        variance += wander
        return np.asarray(np.sqrt(variance, out=variance))


def use_ahead(use: UseFit, pace: Pace, as_of_day: int, horizon_days: int) -> UseAhead:
    """Lay out the use to come of some pairs.

    Parameters
    ----------
    use : UseFit
    pace : Pace
        Of the pairs. Their waves are rounded to steps of 0.04, so that pairs share curves.
    as_of_day : int
        Days since 1970-01-01.
    horizon_days : int
    """
    share = ((as_of_day + np.arange(horizon_days + 1) + 0.5) / _YEAR_DAYS) % 1.0
    steps = np.round(pace.wave / _WAVE_STEP).astype(int)
    waves, curve = np.unique(steps, axis=1, return_inverse=True)
    factor = season_factor(waves * _WAVE_STEP, share) * season_factor(
        np.array(use.season[-1]), share
    )
    season_days = np.concatenate([np.zeros((len(factor), 1)), np.cumsum(factor, axis=1)], axis=1)
    bias = np.where(pace.follows > 0.0, 1.0, np.exp(use.bias_log))
    return UseAhead(
        per_day=pace.wear_days_per_day * pace.exposure_per_wear_day * bias,
        wear_days_per_day=pace.wear_days_per_day * bias,
        known_days=pace.known_days,
        follows=pace.follows,
        curve=curve.ravel(),
        season_days=season_days,
        error=use.error,
    )


def gamma_factor(spread: np.ndarray, normal: np.ndarray) -> np.ndarray:
    """Gamma variable of mean one and this SD, from a standard normal (Wilson and Hilferty, 1931).

    Use is a sum of days that cannot all be worn: its upper tail is nearer to a gamma than to a
    lognormal.
    """
    third = spread / 3.0
    root = normal - third
    root *= third
    root += 1.0
    np.maximum(root, 0.2, out=root)
    cube = np.square(root)
    cube *= root
    return np.asarray(cube)


def days_until(
    ahead: UseAhead, remaining: np.ndarray, normal: np.ndarray, members: np.ndarray
) -> np.ndarray:
    """Calendar days until remaining standard wear days are used up; inf beyond the horizon.

    Parameters
    ----------
    ahead : UseAhead
    remaining : ndarray, shape (m, draws)
        Standard wear days that remain; in whose precision the days are.
    normal : ndarray, shape (m, draws) or (draws,)
        Standard normal points for the use.
    members : ndarray of int, shape (m,)
        Which pairs of `ahead` the rows are.
    """
    kind = remaining.dtype
    out = np.empty_like(remaining)
    curve_of = ahead.curve[members]
    per_day = np.maximum(ahead.per_day[members], 1e-6).astype(kind)[:, None]
    normal = np.broadcast_to(normal.astype(kind), remaining.shape)
    for code in np.unique(curve_of):
        rows = np.flatnonzero(curve_of == code)
        curve = ahead.season_days[code]
        back = _inverse(curve).astype(kind)
        at = members[rows][:, None]
        at_pace = remaining[rows] / per_day[rows]
        days = _read(back, at_pace)
        wanted = at_pace
        for _ in range(_FIXED_POINT_STEPS):
            wanted = at_pace / gamma_factor(ahead.spread(days, at), normal[rows])
            days = _read(back, wanted)
        days[wanted > float(curve[-1])] = np.inf
        out[rows] = days
    out[remaining <= 0.0] = 0.0
    return out


def _inverse(curve: np.ndarray) -> np.ndarray:
    """Day at which each whole number of season days is reached."""
    day = np.arange(len(curve), dtype=float)
    return np.asarray(np.interp(np.arange(int(curve[-1]) + 2.0), curve, day))


def _read(table: np.ndarray, place: np.ndarray) -> np.ndarray:
    """Linear interpolation in a table on 0, 1, 2, ...; constant beyond its end."""
    last = place.dtype.type(len(table) - 1)
    inside = np.minimum(place, np.nextafter(last, place.dtype.type(0)))
    low = inside.astype(np.intp)
    inside -= low
    inside *= np.take(np.diff(table), low)
    inside += np.take(table, low)
    return np.asarray(inside)


def wear_days_ahead(ahead: UseAhead, days: int) -> tuple[np.ndarray, np.ndarray]:
    """Expected wear days within the next days, and their SD over it, both of shape (n,)."""
    place = min(days, ahead.season_days.shape[1] - 1)
    expected = ahead.wear_days_per_day * ahead.season_days[ahead.curve, place]
    member = np.arange(len(expected))
    return expected, ahead.spread(np.full(len(expected), float(days)), member)
