"""Which choices of the owner or the shop shape a forecast?"""

from __future__ import annotations

from dataclasses import dataclass

from forecast.errors import BadHorizon

__all__ = ["ForecastSettings"]


@dataclass(frozen=True)
class ForecastSettings:
    """Risk level, waits and the thresholds of the bands.

    risk : chance of being past the limit that the owner accepts on the send-by date.
    bench_wait_days : wait for a free place on the bench.
    horizon_days : how far dates are given.
    sound_chance, sound_days : `sound` while the chance of being due within so many days is less.
    book_in_days : `book in` when the book-by date is within so many days.
    stop_chance : `stop wearing` from this chance of being at the limit today.
    """

    risk: float = 0.10
    bench_wait_days: int = 14
    horizon_days: int = 1826
    sound_chance: float = 0.10
    sound_days: int = 180
    book_in_days: int = 30
    stop_chance: float = 0.50

    def __post_init__(self) -> None:
        """Refuse what cannot be meant."""
        for name in ("risk", "sound_chance", "stop_chance"):
            if not 0.0 < getattr(self, name) < 1.0:
                raise BadHorizon(f"{name}: {getattr(self, name)} is not between 0 and 1")
        for name in ("bench_wait_days", "horizon_days", "sound_days", "book_in_days"):
            if not 0 <= getattr(self, name) <= 36_500:
                raise BadHorizon(f"{name}: {getattr(self, name)} days is not between 0 and 36500")
