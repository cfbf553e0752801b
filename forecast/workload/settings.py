"""Workload settings: which choices shape a workload forecast?"""

from __future__ import annotations

from dataclasses import dataclass

from solespan.forecast.errors import BadHorizon

__all__ = ["WorkloadSettings"]

MAX_MONTHS = 36


@dataclass(frozen=True)
class WorkloadSettings:
    """How far, how often and with which dependence whole years are simulated.

    months : how far ahead, 1 to 36.
    years : how many futures are simulated.
    listed_years : of how many of them every job is kept, for the queue.
    shared_by_all : share of the variance of due dates (as normal scores) that all pairs have in
        common. It is an error of the population's level or of the season.
    shared_by_wearer : share that pairs of one wearer have in common.
    along_days : a top piece or toe plate due so many days before a sole's job is done with it.
    seed : of the random numbers; the same seed gives the same years.
    """

    months: int = 12
    years: int = 1000
    listed_years: int = 100
    shared_by_all: float = 0.02
    shared_by_wearer: float = 0.30
    along_days: int = 30
    turnaround_days: int = 14
    seed: int = 20_260_101

    def __post_init__(self) -> None:
        """Refuse what cannot be meant."""
        if not 1 <= self.months <= MAX_MONTHS:
            raise BadHorizon(f"months: {self.months} is not between 1 and {MAX_MONTHS}")
        if not 1 <= self.years <= 100_000:
            raise BadHorizon(f"years: {self.years} is not between 1 and 100000")
        if not 0 <= self.listed_years <= self.years:
            raise BadHorizon(f"listed_years: {self.listed_years} is not between 0 and years")
        if not 0 <= self.shared_by_all + self.shared_by_wearer <= 1:
            raise BadHorizon("shared_by_all + shared_by_wearer is not between 0 and 1")
