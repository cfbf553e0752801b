"""Forgotten wear days.

Which wear days are never written down, and when does an owner fall silent altogether?
"""

from __future__ import annotations

import numpy as np

from solespan.synthetic_data.pairs import Bools, Ints, Wearers
from solespan.synthetic_data.truth import Truth

__all__ = ["draw_silences", "is_logged"]


def draw_silences(
    truth: Truth, wearers: Wearers, rng: np.random.Generator, *, log_end: int
) -> Bools:
    """Days on which each wearer writes nothing at all, (days 0 to `log_end`, wearers)."""
    silent = np.zeros((log_end + 1, len(wearers)), bool)
    counts = rng.poisson(truth.silences_per_year * (log_end + 1) / 365.25, len(wearers))
    for wearer, count in enumerate(counts):
        starts = rng.integers(0, log_end + 1, count)
        lengths = rng.uniform(*truth.silence_days, count).astype(int)
        for start, length in zip(starts, lengths, strict=True):
            silent[start : start + length, wearer] = True
    return silent


def is_logged(
    wearers: Wearers, silent: Bools, wearer: Ints, day: Ints, rng: np.random.Generator
) -> Bools:
    """For each wear day whether it was written down; days after the log's end never are."""
    kept = rng.random(len(day)) >= wearers.forgotten_share[wearer]
    within = day < len(silent)
    return kept & within & ~silent[np.minimum(day, len(silent) - 1), wearer]
