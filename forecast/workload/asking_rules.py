"""Rules of asking: about which pairs is nobody asked, and from which day on may others be?

Nobody is asked while nothing is known of the pair but its sole: then its date is other pairs' date.
Nobody is asked about a sole younger than the shortest believable life. Nobody is asked to come
before the day on which the chance of being at the limit reaches 10 %.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from solespan.forecast.layers.limits import ball_limits_mm
from solespan.forecast.layers.own_limits import with_own_limits
from solespan.forecast.log import WearLog
from solespan.forecast.priors import MATERIAL_RATE

__all__ = [
    "FACTS",
    "LEFT_OUT",
    "AskingRules",
    "asking_rules",
    "ended_lives",
    "facts_of_log",
    "shortest_lives",
]

# Why a pair is left out, the first that holds.
LEFT_OUT: dict[str, str] = {
    "unknown": "nothing is known of this pair but its sole",
    "young": "its sole is younger than the shortest believable life",
    "early": "its chance of being due is under 10 % on that day",
}
FACTS = (
    "pair_id",
    "fitted_on",
    "material",
    "nominal_thickness_mm",
    "limit_mm",
    "cover",
    "seen",
    "known",
)
# The fastest believable wear is twice the usual rate on every day. Of leather that is 3 mm in 100
# wear days, the quick end of the 100 to 300 that benches tell. Common practice, no source.
_FASTEST = 2.0
_LEAST_USABLE_MM = 0.5
_LEAST_LIVES, _SHORTEST_SHARE = 20, 0.025  # of the shop's own soles, once so many came off


@dataclass(frozen=True)
class AskingRules:
    """From when each pair may be asked, arrays of one length in the order of the forecast rows.

    pair_id : whose. known : whether anything is known of the pair itself.
    old_on : first day on which its sole is old enough. ten_on : its 10 % day, or its send-by day
    where the shop's own risk is smaller; NaT = no date.
    """

    pair_id: np.ndarray
    known: np.ndarray
    old_on: np.ndarray
    ten_on: np.ndarray

    def left_out(self, ask_on: np.ndarray) -> np.ndarray:
        """Why each pair may not be asked for a day: a word of `LEFT_OUT`, or empty."""
        with np.errstate(invalid="ignore"):
            why = [~self.known, ~(ask_on >= self.old_on), ~(ask_on >= self.ten_on)]
        return np.select(why, list(LEFT_OUT), default="")


def asking_rules(
    forecast: pd.DataFrame, facts: pd.DataFrame, lives_days: np.ndarray
) -> AskingRules:
    """Say from when each pair may be asked.

    Parameters
    ----------
    forecast : DataFrame
        One row a pair: `pair_id`, `due_p10`, `send_by`, as in `frames.FORECAST`.
    facts : DataFrame
        Columns `FACTS`, one row a pair: its sole, whether that was looked at since it was fitted,
        and whether anything at all is known of the pair. A pair without a row is not known.
    lives_days : ndarray
        Lives of the shop's soles that came off.
    """
    rows = facts.set_index("pair_id").reindex(forecast["pair_id"])
    days = shortest_lives(rows, lives_days)
    fitted = _days(rows["fitted_on"])
    due, send_by = _days(forecast["due_p10"]), _days(forecast["send_by"])
    # dates are rounded up and send-by days down, so the day before is the same day
    ten = due - np.timedelta64(1, "D")
    return AskingRules(
        forecast["pair_id"].to_numpy(object),
        rows["known"].fillna(value=False).to_numpy(bool),
        fitted + days.astype("timedelta64[D]"),
        np.where(np.isnat(send_by) | np.isnat(ten), ten, np.minimum(ten, send_by)),
    )


def shortest_lives(soles: pd.DataFrame, lives_days: np.ndarray) -> np.ndarray:
    """Shortest believable life of each sole, in days from its fitting.

    It is worn on every day and twice as fast as usual. A sole that nobody has looked at is also
    taken to last as long as 39 in 40 of the shop's own. That holds once twenty of those came off.
    """
    material = soles["material"].to_numpy(object)
    known = [name if name in MATERIAL_RATE else "oak_bark_leather" for name in material]
    limit = soles["limit_mm"].to_numpy(float)
    limit = np.where(np.isnan(limit), ball_limits_mm(soles.assign(material=known)), limit)
    usable = np.maximum(soles["nominal_thickness_mm"].to_numpy(float) - limit, _LEAST_USABLE_MM)
    rate = np.array([MATERIAL_RATE[name] for name in known])
    days = np.ceil(np.nan_to_num(usable, nan=_LEAST_USABLE_MM) / (_FASTEST * rate))
    if len(lives_days) >= _LEAST_LIVES:
        own = np.floor(np.quantile(lives_days, _SHORTEST_SHARE))
        unseen = ~soles["seen"].fillna(value=False).to_numpy(bool)
        days = np.where(unseen, np.maximum(days, own), days)
    return np.asarray(days)


def ended_lives(soles: pd.DataFrame) -> np.ndarray:
    """Days that soles lasted which came off for a new one, where nothing of them is assumed."""
    newest = soles.groupby("pair_id")["fitted_on"].transform("max")
    ended = soles[soles["removed_on"].notna() & (soles["fitted_on"] < newest)]
    assumed = ended["assumed"].fillna(value=False).astype(bool)
    lives = (ended["removed_on"] - ended["fitted_on"]).dt.days[~assumed].to_numpy(float)
    return lives[lives > 0]


def facts_of_log(log: WearLog) -> pd.DataFrame:
    """Give the facts of all pairs of a log, columns `FACTS`.

    A pair is known when it was looked at after its first sole was new, or worn in the log. It is
    also known when its owner states how often it is worn, or when an earlier sole came off.
    """
    soles = log.soles.sort_values("fitted_on", kind="stable")
    last = soles.drop_duplicates("pair_id", keep="last")
    first_on = soles.groupby("pair_id")["fitted_on"].min()
    looked = log.checks.groupby("pair_id")["checked_on"].max()
    assumed = soles["assumed"].fillna(value=False).astype(bool)
    earlier = soles[soles["removed_on"].notna() & ~assumed]
    earlier = earlier[~earlier["sole_id"].isin(last["sole_id"])]
    stated = log.pairs.loc[log.pairs["wears_per_week"].notna(), "pair_id"]
    pair = last["pair_id"]
    looked_on = pd.to_datetime(pair.map(looked.to_dict()))
    known = looked_on > pair.map(first_on)
    known |= pair.isin(log.wear_days["pair_id"]) | pair.isin(stated)
    known |= pair.isin(earlier["pair_id"])
    seen = (looked_on > last["fitted_on"]).to_numpy(bool)
    last = last.assign(seen=seen, known=known.to_numpy(bool))
    own = with_own_limits(last, log.layers, log.checks)
    return own[list(FACTS)].reset_index(drop=True)


def _days(column: pd.Series) -> np.ndarray:
    return np.asarray(pd.to_datetime(column).to_numpy(), dtype="datetime64[D]")
