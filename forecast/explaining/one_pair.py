"""Posterior of one pair: what is known of one pair, given the fit and its wearer's whole rack?"""

from __future__ import annotations

from dataclasses import dataclass
from difflib import get_close_matches
from functools import cached_property

import pandas as pd

from solespan.forecast.errors import BadFrame, TooLittleData
from solespan.forecast.log import WearLog
from solespan.forecast.model.sole_state import SoleState
from solespan.forecast.model.wear_fit import WearFit
from solespan.forecast.model.wear_model import Conditioned, condition
from solespan.forecast.panel.foot_pairs import FootPairs, foot_pairs
from solespan.forecast.settings import ForecastSettings
from solespan.forecast.values import day_of, instance_of

__all__ = ["OnePair", "one_pair"]


@dataclass(frozen=True)
class OnePair:
    """One pair seen with its wearer's other pairs.

    known : posterior of the wearer's rack. log : that rack's log until `day`. pair : the pair's
    place in `known.panel.pair_ids`. feet : left and right paths of the sole on it now, by point;
    empty when none is on.
    """

    fit: WearFit
    known: Conditioned
    log: WearLog
    pair: int
    day: pd.Timestamp
    settings: ForecastSettings
    feet: FootPairs

    @property
    def pair_id(self) -> str:
        """The pair's identifier."""
        return str(self.known.panel.pair_ids[self.pair])

    @cached_property
    def ball(self) -> FootPairs:
        """Left and right path of the ball of the sole on the pair now."""
        return self.feet.part(self.known.panel.path_point[self.feet.left] == 0)

    @cached_property
    def state(self) -> SoleState:
        """Joint posterior of the rates and the thickness of the ball."""
        return self.known.state(self.ball)


def one_pair(
    fit: WearFit,
    log: WearLog,
    pair_id: str,
    as_of: str | pd.Timestamp,
    settings: ForecastSettings | None,
    known: Conditioned | None = None,
) -> OnePair:
    """Condition one pair's rack, or take it from `known`, the same day's posterior of that rack.

    Raises
    ------
    BadFrame
        The log has no such pair; the message names it.
    TooLittleData
        No sole was on the pair by `as_of`.
    """
    instance_of("fit", fit, WearFit, "a fit from WearModel(log, as_of).fit()")
    instance_of("log", log, WearLog, "a WearLog from wear_log")
    instance_of("pair_id", pair_id, str, "the pair_id of one pair of the log")
    if settings is not None:
        instance_of("settings", settings, ForecastSettings, "ForecastSettings(...), or None")
    settings = settings or ForecastSettings()
    day = day_of("as_of", as_of)
    mine = log.pairs["wearer_id"].to_numpy()[(log.pairs["pair_id"] == pair_id).to_numpy(bool)]
    if not len(mine):
        near = get_close_matches(str(pair_id), log.pairs["pair_id"], n=1)
        hint = f"; the nearest is {near[0]!r}" if near else ""
        raise BadFrame(
            f"pairs.pair_id: {pair_id!r} is not in this log; give the pair_id of one of its "
            f"{len(log.pairs)} pairs{hint}"
        )
    on_pair = (log.soles["pair_id"] == pair_id).to_numpy(bool)
    if not (log.soles["fitted_on"].to_numpy()[on_pair] <= day.to_datetime64()).any():
        raise TooLittleData(
            f"no sole was on pair {pair_id!r} by {day.date()}; add its sole, or look from a "
            "later day"
        )
    rack = log.of_wearers(mine).until(day)
    known = known or condition(fit, rack, day, settings.horizon_days)
    panel = known.panel
    pair = int((panel.pair_ids == pair_id).argmax())
    every = foot_pairs(panel)
    feet = every.part(panel.path_pair[every.left] == pair)
    return OnePair(fit, known, rack, pair, day, settings, feet)
