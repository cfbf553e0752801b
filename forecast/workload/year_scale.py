"""Year scaling: how do simulated years reach the totals that their level says?

Jobs are left out at random or repeated a few days aside, so kinds of work and months keep their
shares. Bookings are counted in the total and stay as they are. The most eventful simulated years
keep the highest totals, and the listed years are as wide a sample as the others.
"""

from __future__ import annotations

import numpy as np

from solespan.forecast.workload.year_level import YearLevel

__all__ = ["YEAR_DAYS", "scale_years"]

YEAR_DAYS = 365
_ASIDE_DAYS = 10


def scale_years(
    counts: np.ndarray,
    listed: np.ndarray,
    booked: np.ndarray,
    listed_years: int,
    level: YearLevel,
    rng: np.random.Generator,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Scale every simulated year, what is booked apart.

    Parameters
    ----------
    counts : ndarray of int, shape (years, days, works)
        Jobs without bookings, of at least a year.
    listed : ndarray, shape (5, jobs)
        Rows year, day, work, row, due_day of the jobs of the first `listed_years`.
    booked : ndarray, shape (years,)
        Bookings that are kept within the first year.

    Returns
    -------
    tuple
        New counts, new list, and the factor of each year.
    """
    years, days, works = counts.shape
    own = counts[:, :YEAR_DAYS].sum(axis=(1, 2))
    later = counts[:, YEAR_DAYS:].sum(axis=(1, 2))
    target = _targets(own + booked, listed_years, level)
    wanted = np.maximum(target - booked, 0).astype(np.int64)
    factor = wanted / np.maximum(own, 1)
    wanted_later = np.floor(factor * later + rng.random(years)).astype(np.int64)
    out = np.zeros_like(counts).reshape(years, -1)
    order = np.argsort(listed[0], kind="stable")
    edges = np.searchsorted(listed[0][order], np.arange(listed_years + 1))
    eventful = np.flatnonzero(own > 0)
    parts = []
    for year in range(years):
        donor = year
        if own[year] == 0 and wanted[year] and len(eventful):
            donor = int(rng.choice(eventful))
        rows = None
        if donor < listed_years:
            rows = listed[:, order[edges[donor] : edges[donor + 1]]]
            day, work = rows[1], rows[2]
        else:
            cells = np.repeat(np.arange(days * works), counts[donor].ravel())
            day, work = cells // works + 1, cells % works
        first = day <= YEAR_DAYS
        taken, moved = [], []
        for inside, number, low, high in (
            (first, wanted[year], 1, YEAR_DAYS),
            (~first, wanted_later[year], YEAR_DAYS + 1, days),
        ):
            place, new_day = _chosen(np.flatnonzero(inside), day, int(number), low, high, rng)
            taken.append(place)
            moved.append(new_day)
        place, new_day = np.concatenate(taken), np.concatenate(moved)
        cell = (new_day - 1) * works + work[place]
        out[year] = np.bincount(cell, minlength=days * works)
        if year < listed_years:
            if rows is None:  # the donor is not listed: its pairs are not known
                none = np.full(len(day), -1)
                rows = np.array([none, day, work, none, none])
            kept = rows[:, place]
            kept[0], kept[1] = year, new_day
            parts.append(kept)
    new = np.concatenate(parts, axis=1) if parts else listed
    return out.reshape(counts.shape), new, factor


def _targets(totals: np.ndarray, listed_years: int, level: YearLevel) -> np.ndarray:
    """Totals wanted, in the order of the totals there, evenly spread in each block of years."""
    out = np.empty(len(totals))
    for block in (slice(0, listed_years), slice(listed_years, None)):
        part = totals[block]
        rank = np.argsort(np.argsort(part, kind="stable"), kind="stable")
        out[block] = level.quantiles((rank + 0.5) / max(len(part), 1))
    return np.round(out)


def _chosen(
    places: np.ndarray, day: np.ndarray, number: int, low: int, high: int, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    """Places of so many jobs, and their days: each as often as can be, then some once more."""
    if not len(places) or not number:
        return places[:0], day[:0]
    copies, rest = divmod(number, len(places))
    some = rng.permutation(places)[:rest]
    if not copies:
        return some, day[some]
    again = np.r_[np.tile(places, copies - 1), some]
    aside = rng.integers(-_ASIDE_DAYS, _ASIDE_DAYS + 1, len(again))
    return np.r_[places, again], np.r_[day[places], np.clip(day[again] + aside, low, high)]
