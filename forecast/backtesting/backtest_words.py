"""Backtest in words: what does a look back say, in sentences?"""

from __future__ import annotations

from typing import Protocol

import numpy as np
import pandas as pd

from solespan.forecast.backtesting.sole_lives import median_life
from solespan.forecast.dates.models import NESTED
from solespan.forecast.settings import ForecastSettings

__all__ = ["LookedBack", "sentences"]

_FEW = 20


class LookedBack(Protocol):
    """Tables that the sentences are made from; see `forecast.backtesting.backtest.Backtest`."""

    @property
    def rows(self) -> pd.DataFrame:
        """One row a forecast."""

    @property
    def settings(self) -> ForecastSettings:
        """Settings of the forecasts."""

    @property
    def lives(self) -> pd.DataFrame:
        """Life of every sole."""

    @property
    def scores(self) -> pd.DataFrame:
        """Mean score by forecaster."""

    @property
    def coverage(self) -> pd.DataFrame:
        """How often intervals held."""

    @property
    def bands(self) -> pd.DataFrame:
        """Chances said and what happened, by band."""

    @property
    def past_limit(self) -> tuple[int, int]:
        """Pairs past their limit on their send-by date, and pairs of which that is known."""

    @property
    def hand_overs(self) -> tuple[int, int]:
        """Pairs past their limit as they were handed over, and pairs that were looked at then."""


def sentences(back: LookedBack) -> list[str]:
    """Say how far off the forecasts were, whether intervals held, and what send-by was worth."""
    rows = back.rows
    told = int(rows[f"crps_{NESTED.name}"].notna().sum())
    first = (
        f"Looked back from {rows['as_of'].nunique()} days between {rows['as_of'].min():%Y-%m-%d} "
        f"and {rows['as_of'].max():%Y-%m-%d}: {len(rows)} forecasts of "
        f"{rows['pair_id'].nunique()} pairs, each from what was known on its day."
    )
    if not told:
        return [
            first,
            "Nothing is known yet of what happened after them, so nothing can be scored.",
        ]
    return [
        first,
        _scores(back),
        *_coverage(back),
        *_bands(back),
        _send_by(back),
        *_hand_overs(back),
        *_lives(back),
        _judged(back),
    ]


def _scores(back: LookedBack) -> str:
    table = back.scores
    by_name = dict(zip(table["forecaster"], table["crps_days"], strict=True))
    model = by_name.pop(NESTED.words)
    others = []
    for name, days in by_name.items():
        if days >= model:
            others.append(f"{name} {days:.0f} days ({days / max(model, 1e-9):.1f} times as much)")
        else:
            others.append(f"{name} {days:.0f} days, which is better")
    return (
        f"Score over {int(table['forecasts'].iloc[0])} forecasts, in days off, less is better: "
        f"this model {model:.0f} days; {'; '.join(others)}."
    )


def _coverage(back: LookedBack) -> list[str]:
    out = []
    for interval, count, held in back.coverage.itertuples(index=False):
        if count:
            out.append(
                f"The {100 * interval:.0f} % interval held what happened in {100 * held:.0f} % of "
                f"{count} cases{_caution(count)}."
            )
    return out


def _bands(back: LookedBack) -> list[str]:
    days = back.settings.sound_days
    return [
        f"Of {count} pairs called `{band}`, {round(count * happened)} were due within {days} days "
        f"({100 * happened:.0f} %; said {100 * said:.0f} %){_caution(count)}."
        for band, count, said, happened in back.bands.itertuples(index=False)
    ]


def _send_by(back: LookedBack) -> str:
    past, known = back.past_limit
    if not known:
        return (
            "Too few send-by dates passed before a hand-over to compare. Measure each pair as you "
            "hand it over: then the share past the limit on that day is told."
        )
    return (
        f"Of {known} pairs handed over on their send-by date at {100 * back.settings.risk:.0f} % "
        f"risk, {past} ({100 * past / known:.0f} %) would have been past their limit"
        f"{_caution(known)}."
    )


def _hand_overs(back: LookedBack) -> list[str]:
    past, looked_at = back.hand_overs
    if not looked_at:
        return []
    share = f"{past} ({100 * past / looked_at:.0f} %)"
    said = f"Of {looked_at} pairs looked at as they were handed over, {share} were past their limit"
    return [f"{said}{_caution(looked_at)}."]


def _lives(back: LookedBack) -> list[str]:
    """Say how long soles lasted, without any model."""
    due = int(back.lives["due"].sum())
    middle, low, high = median_life(back.lives)
    if not np.isfinite(middle):
        return []
    until = f"{high:.0f}" if np.isfinite(high) else "any number of"
    span = (
        f"95 % interval {low:.0f} to {until} days"
        if np.isfinite(low)
        else "too few to say how sure"
    )
    told = (
        f"Without any model: half of your soles last {middle:.0f} days or longer ({span}). "
        f"{due} soles were due, and {len(back.lives) - due} were not yet{_caution(due)}."
    )
    return [told]


def _judged(back: LookedBack) -> str:
    kinds = back.rows["kind"].value_counts()
    seen, handed = int(kinds.get("seen", 0)), int(kinds.get("resoled", 0))
    open_, already = int(kinds.get("open", 0) + kinds.get("early", 0)), int(kinds.get("already", 0))
    stretch = back.rows.loc[back.rows["kind"] == "seen"]
    width = 2.0 * (stretch["days"] - stretch["above_until_days"]).median()
    between = f" (halfway between two checks, mostly {width:.0f} days apart)" if seen else ""
    return (
        f"The log says when a pair was due: a check in {seen} cases{between}, the hand-over for a "
        f"new sole in {handed}. {open_} were not due as far as is known and count until then, "
        "also those handed over early. "
        f"{already} were at their limit already and do not count."
    )


def _caution(count: int) -> str:
    return " - few, so take it as a hint" if count < _FEW and np.isfinite(count) else ""
