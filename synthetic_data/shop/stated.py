"""Stated paces: how often does an owner say that a pair is worn?

A share of silent owners is asked, and answers with an error, in halves of a day a week.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from solespan.synthetic_data.shop.draw import ShopWorld

__all__ = ["with_stated_paces"]

SD_STATED = 0.3  # log, of what an owner says against what is true; invented
STEP_PER_WEEK, LEAST_PER_WEEK, MOST_PER_WEEK = 0.5, 0.5, 7.0


def with_stated_paces(
    drawn: ShopWorld, share: float, share_of_racks: float, rng: np.random.Generator
) -> ShopWorld:
    """Write paces into the books: of some pairs, and of some whole racks."""
    hidden = drawn.hidden_pairs[~drawn.hidden_pairs["logs"].astype(bool)]
    mean = hidden.set_index("pair_id")["mean_pace_per_week"].astype(float)
    pairs, wearers = drawn.frames["pairs"].copy(), drawn.frames["wearers"].copy()
    of_rack = hidden.assign(mean=mean.to_numpy()).groupby("wearer_id")["mean"].sum()
    for frame, key, true, asked in (
        (pairs, "pair_id", mean, share),
        (wearers, "wearer_id", of_rack, share_of_racks),
    ):
        said = frame[key].map(true).to_numpy(float)
        said = said * rng.lognormal(0.0, SD_STATED, len(said))
        said = np.clip(
            np.round(said / STEP_PER_WEEK) * STEP_PER_WEEK, LEAST_PER_WEEK, MOST_PER_WEEK
        )
        frame["wears_per_week"] = np.where(rng.random(len(said)) < asked, said, np.nan)
    return replace(drawn, frames=drawn.frames | {"pairs": pairs, "wearers": wearers})
