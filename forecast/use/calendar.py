"""Calendar of use: on which day will a number of standard wear days have been worn?

Wear to come by day d is the present pace times the season's days until d, times an uncertain factor
whose spread grows with d. Wear only grows. So "due by day d" is the same event as "wear by day d
reaches the remaining exposure". Only the distribution of wear by each day matters.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from solespan.forecast.use.pace import Pace
from solespan.forecast.use.usage import UseFit, drift_years

__all__ = ["UseAhead", "days_until", "gamma_factor", "use_ahead", "wear_days_ahead"]

_YEAR_DAYS = 365.25
_FIXED_POINT_STEPS = 3
_LATENT_LESS = 0.6
_AWAY_DAYS = 14  # until what is at a shop is back; common practice, no source
_LEAST_WEAR_DAYS = 0.25  # that a spread is reckoned for


@dataclass(frozen=True)
class UseAhead:
    """Use of n pairs from today on.

    per_day : ndarray, shape (n,)
        Standard wear days per calendar day, season taken out.
    wear_days_per_day, known_days : ndarray, shape (n,)
        Wear days per calendar day and the wear days behind it.
    short_log : ndarray, shape (n,)
        How much of a season's error is left; see `WearCounts`.
    follows : ndarray, shape (n,)
        How far the use follows the latent pace of unlogged days, 0 to 1.
    year : ndarray, shape (n, places)
        Pace at places in the year over the mean pace.
    meanwhile : ndarray, shape (n,)
        Factor of the pace while pairs of the rack that are at a shop now are away.
    year_known : ndarray of bool, shape (n,)
        Whether the pair has a year of its own log.
    year_begin : float
        Where in the year today's midnight lies, 0 to 1.
    horizon_days : int
        How far the use is laid out.
    """

    per_day: np.ndarray
    wear_days_per_day: np.ndarray
    known_days: np.ndarray
    short_log: np.ndarray
    follows: np.ndarray
    year: np.ndarray
    meanwhile: np.ndarray
    year_known: np.ndarray
    year_begin: float
    horizon_days: int
    error: tuple[float, float, float, float]
    knot_days: ClassVar[int] = 4  # between the points of a season's curve

    def season_days(self, members: np.ndarray, every: int = 1) -> np.ndarray:
        """Days at the mean pace until the end of every so many days, shape (m, knots)."""
        last = self.horizon_days + 1
        return self._season_days(members, np.arange(0, last + every, every))

    def season_days_until(self, days: int) -> np.ndarray:
        """Days at the mean pace within the next days, shape (n,)."""
        return self._season_days(np.arange(len(self.year)), np.array([days]))[:, 0]

    def _season_days(self, members: np.ndarray, days: np.ndarray) -> np.ndarray:
        """Integral of the factor from today on to so many days ahead, at most the horizon's."""
        days = np.minimum(days, self.horizon_days + 1)
        out = _integral(self.year[members], self.year_begin, days)
        away = self.meanwhile[members] != 1.0
        if away.any():
            soon = _integral(
                self.year[members[away]], self.year_begin, np.minimum(days, _AWAY_DAYS)
            )
            out[away] += (self.meanwhile[members[away]] - 1.0)[:, None] * soon
        return out

    def spread(self, days: np.ndarray, season_days: np.ndarray, member: np.ndarray) -> np.ndarray:
        """SD of wear until so many days ahead over its mean, for members of the n pairs.

        `season_days` are the days at the mean pace until then: out of season few wears are due.
        """
        dispersion, uncertainty, season, drift = map(float, self.error)
        variance = season_days * self.wear_days_per_day[member].astype(days.dtype)
        np.maximum(variance, _LEAST_WEAR_DAYS, out=variance)
        np.divide(dispersion, variance, out=variance)
        # a latent pace is drawn with the rates: less is left to the use itself
        free = (1.0 - _LATENT_LESS * self.follows[member]).astype(days.dtype)
        level = uncertainty / self.known_days[member] + season * self.short_log[member]
        variance += level.astype(days.dtype) * free
        wander = drift_years(days)
        wander *= drift
        wander *= free
        variance += wander
        return np.asarray(np.sqrt(variance, out=variance))


def _integral(year: np.ndarray, begin: float, days: np.ndarray) -> np.ndarray:
    """Days at the mean pace from a place in the year on, shape (pairs, days)."""
    places = year.shape[1]
    at = (begin + np.append(0.0, days / _YEAR_DAYS)) * places
    whole = np.floor(at).astype(int)
    years, place = np.divmod(whole, places)
    before = np.concatenate([np.zeros((len(year), 1)), np.cumsum(year, axis=1)], axis=1)
    out = np.take(before, place, axis=1)
    out += np.take(year, place, axis=1) * (at - whole)
    out += before[:, -1:] * years
    return np.asarray((out[:, 1:] - out[:, :1]) * (_YEAR_DAYS / places))


def use_ahead(use: UseFit, pace: Pace, as_of_day: int, horizon_days: int) -> UseAhead:
    """Lay out the use to come of some pairs.

    Parameters
    ----------
    use : UseFit
    pace : Pace
        Of the pairs.
    as_of_day : int
        Days since 1970-01-01.
    horizon_days : int
    """
    bias = np.where(pace.follows > 0.0, 1.0, np.exp(use.bias_log))
    return UseAhead(
        per_day=pace.wear_days_per_day * pace.exposure_per_wear_day * bias,
        wear_days_per_day=pace.wear_days_per_day * bias,
        known_days=pace.known_days,
        short_log=pace.short_log,
        follows=pace.follows,
        year=pace.year,
        meanwhile=pace.meanwhile,
        year_known=pace.year_known,
        year_begin=((as_of_day + 0.5) / _YEAR_DAYS) % 1.0,
        horizon_days=horizon_days,
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
    pairs, row = np.unique(members, return_inverse=True)
    back, most = _back(ahead, pairs)
    back, most = back.astype(kind), most[row][:, None]
    steps = np.diff(back, axis=1, append=back[:, -1:]).ravel()
    start = (row * back.shape[1])[:, None]
    last = kind.type(back.shape[1] - 1)
    every = kind.type(ahead.knot_days)
    per_day = np.maximum(ahead.per_day[members], 1e-6).astype(kind)[:, None]
    normal = np.broadcast_to(normal.astype(kind), remaining.shape)
    at = members[:, None]
    at_pace = remaining / per_day
    days = _read(back.ravel(), steps, start, at_pace / every, last)
    wanted = at_pace
    for _ in range(_FIXED_POINT_STEPS):
        wanted = at_pace / gamma_factor(ahead.spread(days, wanted, at), normal)
        days = _read(back.ravel(), steps, start, wanted / every, last)
    days[wanted > most] = np.inf
    days[remaining <= 0.0] = 0.0
    return days


def _back(ahead: UseAhead, pairs: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Day at which each further `knot_days` season days are reached, and season days in all."""
    every = ahead.knot_days
    curve = ahead.season_days(pairs, every)
    most = curve[:, -1]
    day = np.minimum(np.arange(curve.shape[1]) * every, ahead.horizon_days + 1.0)
    wanted = np.arange(int(most.max(initial=0.0) / every) + 2.0) * every
    back = [np.interp(wanted, reached, day) for reached in curve]
    return np.reshape(back, (len(curve), len(wanted))), most


def _read(
    table: np.ndarray, steps: np.ndarray, start: np.ndarray, place: np.ndarray, last: np.floating
) -> np.ndarray:
    """Linear interpolation in tables on 0, 1, 2, ..., one a row; constant beyond their end."""
    inside = np.minimum(place, np.nextafter(last, last.dtype.type(0)))
    low = inside.astype(np.intp)
    inside -= low
    low += start
    inside *= np.take(steps, low)
    inside += np.take(table, low)
    return np.asarray(inside)


def wear_days_ahead(ahead: UseAhead, days: int) -> tuple[np.ndarray, np.ndarray]:
    """Expected wear days within the next days, and their SD over it, both of shape (n,)."""
    place = min(days, ahead.horizon_days + 1)
    season_days = ahead.season_days_until(place)
    expected = ahead.wear_days_per_day * season_days
    member = np.arange(len(expected))
    return expected, ahead.spread(np.full(len(expected), float(days)), season_days, member)
