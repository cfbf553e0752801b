"""Pace: how often is each pair worn from today on, and at which times of the year?

The rack is taken to stay as it is. The share of a pair that is off the shelf goes to the others.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from solespan.forecast.priors import UNLOGGED_WEAR_DAYS_PER_DAY
from solespan.forecast.use.rack_weights import faded, rack_weights, waves_of
from solespan.forecast.use.season import season_factor
from solespan.forecast.use.usage import UseFit
from solespan.forecast.use.wear_counts import WearCounts

__all__ = ["YEAR_PLACES", "Pace", "current_pace"]

YEAR_PLACES = 73  # of a table of the year, five days each
_MOST_PER_DAY = 0.98  # wears of a pair
_LATENT_SHORT_LOG = 0.5
_YEAR_OPEN_DAYS, _YEAR_WEAR_DAYS = 330.0, 25.0  # from which a pair's own year is known
_LATENT_KNOWN_DAYS = 1e6  # of a latent pace: what is not known of it is drawn with the rates


@dataclass(frozen=True)
class Pace:
    """Present pace of pairs.

    wear_days_per_day : ndarray, shape (pairs,)
        Wear days per calendar day, mean of a year.
    exposure_per_wear_day : ndarray, shape (pairs,)
        Standard wear days per wear day.
    known_days : ndarray, shape (pairs,)
        Discounted wear days behind the pace, pooling included.
    short_log : ndarray, shape (pairs,)
        How much of a season's error is left; see `WearCounts`.
    year : ndarray, shape (pairs, YEAR_PLACES)
        Pace at places in the year, from 1970-01-01 on, over the mean pace.
    meanwhile : ndarray, shape (pairs,)
        Factor of the pace while the pairs of the rack that are at a shop now are away.
    year_known : ndarray of bool, shape (pairs,)
        Whether the pair has a year of its own log.
    follows : ndarray, shape (pairs,)
        1 where the pace is the latent one of unlogged days, else 0.
    """

    wear_days_per_day: np.ndarray
    exposure_per_wear_day: np.ndarray
    known_days: np.ndarray
    short_log: np.ndarray
    year: np.ndarray
    meanwhile: np.ndarray
    year_known: np.ndarray
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
            short_log=np.where(unlogged, _LATENT_SHORT_LOG, self.short_log),
            meanwhile=np.where(unlogged, 1.0, self.meanwhile),
            year_known=self.year_known & ~unlogged,
            follows=unlogged.astype(float),
        )


def current_pace(counts: WearCounts, use: UseFit) -> Pace:
    """Pace of every pair from today on, the rack staying as it is.

    Parameters
    ----------
    counts : WearCounts
    use : UseFit
    """
    present = counts.on_shelf
    waves = waves_of(counts, use.season, use.own_season, use.own_out_season)
    rack = rack_weights(
        counts,
        use.half_life_periods,
        use.leaning_days,
        use.change,
        waves,
        panel=use.going_out_per_day,
    )
    places = (np.arange(YEAR_PLACES) + 0.5) / YEAR_PLACES
    weight = rack.weight[:, None] * season_factor(waves.pairs, places)
    total = counts.by_wearer(weight * present[:, None])[counts.wearer]
    # a pair that is not on the shelf is given the pace it would have if it came back
    total[~present] += weight[~present]
    out = rack.going_out[:, None] * season_factor(waves.out, places)
    year = np.minimum(out[counts.wearer] * weight / np.maximum(total, 1e-9), _MOST_PER_DAY)
    pace = year.mean(axis=1)
    year /= np.maximum(pace, 1e-9)[:, None]
    fade = 0.5 ** (np.arange(counts.days.shape[1]) / use.half_life_periods)
    exposure = faded(counts.worn, fade)
    wearer_exposure = (counts.by_wearer(exposure) + 20.0 * use.exposure_per_wear_day) / (
        counts.by_wearer(rack.seen) + 20.0
    )
    per_day = (exposure + 15.0 * wearer_exposure[counts.wearer]) / (rack.seen + 15.0)
    return Pace(
        wear_days_per_day=pace,
        exposure_per_wear_day=per_day,
        known_days=rack.seen + use.leaning_days,
        short_log=counts.short_log(),
        year=year,
        meanwhile=_meanwhile(counts, pace),
        year_known=(counts.open_days.sum(axis=1) >= _YEAR_OPEN_DAYS)
        & (counts.days.sum(axis=1) >= _YEAR_WEAR_DAYS),
        follows=np.zeros(len(pace)),
    )


def _meanwhile(counts: WearCounts, pace: np.ndarray) -> np.ndarray:
    """Pace of each pair while others are at a shop, over its pace with all of them back."""
    if not counts.away.any():
        return np.ones(len(pace))
    here = counts.on_shelf & ~counts.away
    every, left = (counts.by_wearer(pace * who) for who in (counts.on_shelf, here))
    more = (every / np.maximum(left, 1e-9))[counts.wearer]
    most = _MOST_PER_DAY / np.maximum(pace, 1e-9)
    return np.where(counts.away, 0.0, np.where(here, np.minimum(more, most), 1.0))
