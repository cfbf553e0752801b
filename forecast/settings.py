"""Forecast settings: which choices of the owner or the shop shape a forecast?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from numbers import Integral, Real
from typing import Any

import numpy as np

from solespan.forecast.errors import BadArgument, BadHorizon

__all__ = ["ForecastSettings"]

_DAY_S = 86_400


@dataclass(frozen=True)
class ForecastSettings:
    """Risk level, waits and the thresholds of the bands.

    risk : chance of being past the limit that the owner accepts on the send-by date.
    bench_wait_days : wait for a free place on the bench, d, where `bench_waits` is empty.
    bench_waits : days of a plan of the bench, in order. Beside each stands the wait for a place of
        a pair handed over from it on, d. Before the first day its wait stands, after the last day
        the last one's.
    horizon_days : how far dates are given.
    sound_chance, sound_days : `sound` while the chance of being due within so many days is less.
    book_in_days : `book in` when the book-by date is within so many days.
    stop_chance : `stop wearing` from this chance of being at the limit today.

    Examples
    --------
    >>> from solespan.forecast import ForecastSettings
    >>> careful = ForecastSettings(risk=0.05, bench_wait_days=21)
    >>> careful.horizon_days
    1826
    >>> ForecastSettings(risk=5)
    Traceback (most recent call last):
    ...
    solespan.forecast.errors.BadHorizon: risk: 5 is not between 0 and 1
    """

    risk: float = 0.10
    bench_wait_days: int = 14
    bench_waits: tuple[tuple[date, int], ...] = ()
    horizon_days: int = 1826
    sound_chance: float = 0.10
    sound_days: int = 180
    book_in_days: int = 30
    stop_chance: float = 0.50

    def __post_init__(self) -> None:
        """Refuse what cannot be meant."""
        for name in ("risk", "sound_chance", "stop_chance"):
            _refuse_kind(name, getattr(self, name), Real, "a number between 0 and 1")
            if not 0.0 < getattr(self, name) < 1.0:
                raise BadHorizon(f"{name}: {getattr(self, name)} is not between 0 and 1")
        for name in ("bench_wait_days", "horizon_days", "sound_days", "book_in_days"):
            _refuse_kind(name, getattr(self, name), Integral, "a whole number of days")
            if not 0 <= getattr(self, name) <= 36_500:
                raise BadHorizon(f"{name}: {getattr(self, name)} days is not between 0 and 36500")
        days: list[Any]
        try:
            days, waits = [d for d, _ in self.bench_waits], [w for _, w in self.bench_waits]
        except (TypeError, ValueError):
            days, waits = [None], []
        if not all(isinstance(d, date) for d in days) or not all(
            isinstance(w, Real) for w in waits
        ):
            raise BadArgument("bench_waits", self.bench_waits, "pairs of a date and a wait in days")
        if any(later <= sooner for sooner, later in pairwise(days)):
            raise BadHorizon("bench_waits: the days are not in order")
        if any(not 0 <= wait <= 36_500 for wait in waits):
            raise BadHorizon("bench_waits: a wait is not between 0 and 36500 days")

    def book_by(self, send_by: np.ndarray) -> np.ndarray:
        """Days by which to ask for a place, so that the pair is taken on its send-by day.

        Parameters
        ----------
        send_by : ndarray of datetime64[s]; NaT = no date, and stays so.

        Returns
        -------
        ndarray of datetime64[s], of the same shape
        """
        if not self.bench_waits:
            return np.asarray(send_by - np.timedelta64(self.bench_wait_days * _DAY_S, "s"))
        since = np.array([day for day, _ in self.bench_waits], dtype="datetime64[s]")
        waits = np.array([wait for _, wait in self.bench_waits]) * np.timedelta64(_DAY_S, "s")
        place = np.searchsorted(since, send_by, side="right") - 1
        return np.asarray(send_by - waits[np.clip(place, 0, len(since) - 1)])


def _refuse_kind(name: str, value: object, kind: type, accepted: str) -> None:
    if not isinstance(value, kind) or isinstance(value, bool):
        raise BadArgument(name, value, accepted)
