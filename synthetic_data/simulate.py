"""Simulation: what is logged in a simulated world, and what is true there?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from solespan.synthetic_data.forgetting import draw_silences, is_logged
from solespan.synthetic_data.hidden import hidden_frames
from solespan.synthetic_data.logbook import Names, logged_frames
from solespan.synthetic_data.measuring import measure
from solespan.synthetic_data.names import pair_labels, wearer_names
from solespan.synthetic_data.pair_histories import live
from solespan.synthetic_data.pairs import draw_pairs, draw_wearers
from solespan.synthetic_data.sim_calendar import Calendar
from solespan.synthetic_data.truth import Truth
from solespan.synthetic_data.wearing import draw_habits, draw_rate_shift

__all__ = ["Simulated", "simulate"]


@dataclass(frozen=True)
class Simulated:
    """A world: what its log says up to `as_of`, and the truth no forecaster may see.

    `frames` holds the tables of `forecast.frames.TABLES`. The rest is hidden.

    Attributes
    ----------
    hidden_wear
        Every true wear day, also unlogged ones and those after `as_of`, with its exposure in
        standard wear days.
    hidden_thickness
        mm on the evening of the fitting, of new top pieces and of each wear day.
    hidden_due
        First day at or under the limit of each sole in use at `as_of`, worn on without repair. NaT
        = beyond the horizon; `foot` = `pair` is the first of both feet.
    rates
        True mm per standard wear day, as they are at `as_of`.
    hidden_wearers, hidden_checks
        The owners' ways, and the truth behind each reading.
    """

    truth: Truth
    as_of: pd.Timestamp
    horizon_days: int
    frames: dict[str, pd.DataFrame]
    hidden_wear: pd.DataFrame
    hidden_thickness: pd.DataFrame
    hidden_due: pd.DataFrame
    rates: pd.DataFrame
    hidden_wearers: pd.DataFrame
    hidden_checks: pd.DataFrame

    def thickness_on(self, day: pd.Timestamp) -> pd.DataFrame:
        """True mm on the evening of `day`: one row per sole fitted by then, foot and point."""
        known = self.hidden_thickness[self.hidden_thickness["on_date"] <= day]
        return known.drop_duplicates(["sole_id", "foot", "point"], keep="last", ignore_index=True)


def simulate(
    truth: Truth,
    rng: np.random.Generator,
    *,
    n_pairs: int,
    as_of: str | pd.Timestamp = "2026-11-23",
    history_days: int = 1096,
    horizon_days: int = 1826,
) -> Simulated:
    """Draw one world of `n_pairs` pairs; the same seed and arguments give the same world.

    The past does not depend on `horizon_days`, and nothing after `as_of` reaches `frames`.

    Parameters
    ----------
    truth : Truth
        The world's parameters.
    rng : numpy.random.Generator
        The only source of chance.
    n_pairs : int
        Pairs in all, at least 1; wearers are drawn until every pair has one.
    as_of : date
        Last day of the log.
    history_days, horizon_days : int
        Days of log before `as_of` (at least 30), and days lived on after it (0 or more).

    Raises
    ------
    ValueError
        One of the three numbers is too small.
    """
    if n_pairs < 1 or history_days < 30 or horizon_days < 0:
        raise ValueError(
            f"n_pairs {n_pairs}, history_days {history_days}, horizon_days {horizon_days}: "
            "accepted are at least 1, 30 and 0"
        )
    people, habit, past, future, looking, writing, naming, noting = (
        np.random.default_rng(seed) for seed in rng.integers(2**63, size=8)
    )
    end = pd.Timestamp(as_of).normalize()
    calendar = Calendar(end - pd.Timedelta(days=history_days), history_days)
    wearers = draw_wearers(truth, people, n_pairs=n_pairs, history_days=history_days)
    pairs = draw_pairs(truth, wearers, people, history_days=history_days)
    habits = draw_habits(
        truth, wearers, pairs, habit, calendar=calendar, last_day=history_days + horizon_days
    )
    shift = draw_rate_shift(
        truth, wearers, pairs, habit.spawn(1)[0],
        log_end=history_days, last_day=history_days + horizon_days,
    )  # fmt: skip
    life = live(
        truth, wearers, pairs, habits, shift, past, future,
        log_end=history_days, last_day=history_days + horizon_days,
    )  # fmt: skip
    silent = draw_silences(truth, wearers, writing, log_end=history_days)
    logged = is_logged(wearers, silent, pairs.wearer[life.pair], life.day, writing)
    readings = measure(truth, wearers, pairs, life, silent, looking)
    names = Names(
        wearer_names(len(wearers), naming), pair_labels(pairs.dress_code, pairs.wearer, naming)
    )
    frames, exposure = logged_frames(
        truth, wearers, pairs, life, logged, readings, names, calendar, noting
    )
    today = shift[min(history_days, len(shift) - 1)]
    hidden = hidden_frames(truth, wearers, pairs, life, today, logged, exposure, readings, calendar)
    return Simulated(truth=truth, as_of=end, horizon_days=horizon_days, frames=frames, **hidden)
