"""Forecast file of draws: what does it say where a model only draws days until due?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from solespan.forecast.dates.date_columns import bands, date_columns, newest_soles
from solespan.forecast.frames import FEET, FORECAST, PROBABLY_GONE, WEARING_POINTS
from solespan.forecast.panel.panel import Panel
from solespan.forecast.settings import ForecastSettings

__all__ = ["due_frame"]

_KEY = ["pair_id", "foot", "point"]
_ROWS = (*FEET, "pair")
_KINDS = {"date": "datetime64[s]", "number": "float64"}


def due_frame(
    rows: pd.DataFrame,
    days: np.ndarray,
    panel: Panel,
    away: np.ndarray,
    settings: ForecastSettings,
    model: tuple[str, str],
) -> pd.DataFrame:
    """Lay rows and draws out in the columns of `forecast.frames.FORECAST`.

    Every pair has its three ball rows. Those of which the model says nothing have empty dates, and
    their reason says why.

    Parameters
    ----------
    rows, days
        See `forecast.dates.models.entry.DueRows`.
    away : ndarray of bool, shape (pairs,)
        At a shop.
    model : (name, reason)
    """
    ordered = np.sort(np.where(days < settings.horizon_days, days, np.inf), axis=-1)
    columns = date_columns(ordered, panel.as_of_day, settings)
    said = rows.assign(**columns, _said=True).set_index(_KEY)
    every = pd.MultiIndex.from_product([panel.pair_ids, _ROWS, ["ball"]], names=_KEY)
    frame = said.reindex([*every, *said.index.difference(every)]).rename_axis(_KEY).reset_index()
    pair = pd.Index(panel.pair_ids).get_indexer(pd.Index(frame["pair_id"]))
    main = ((frame["foot"] == "pair") & (frame["point"] == "ball")).to_numpy()
    names = ("book_by", "chance_now", "_sound")
    resoles = {name: frame.loc[main, name].to_numpy() for name in names}
    frame["band"] = bands(panel, away, pair[main], resoles, settings)[pair]
    frame["sole_id"] = newest_soles(panel)[pair]
    frame["as_of"] = np.datetime64(panel.as_of_day, "D")
    kinds = {c.name: _KINDS.get(c.kind, "str") for c in FORECAST}
    frame = frame.reindex(columns=[*kinds, "_said"]).astype(kinds)
    frame["chance_in_use"] = _in_use(frame, away[pair])
    frame["reason"] = _reasons(frame, ~panel.has_sole[pair], *model)
    foot, point = _places(frame["foot"], _ROWS), _places(frame["point"], WEARING_POINTS)
    order = np.lexsort((foot, point, frame["pair_id"].rank()))
    return frame.iloc[order].drop(columns="_said").reset_index(drop=True)


def _places(words: pd.Series, of: tuple[str, ...]) -> np.ndarray:
    return pd.Index(of).get_indexer(pd.Index(words))


def _in_use(frame: pd.DataFrame, away: np.ndarray) -> np.ndarray:
    """Chance of each row's pair, which is certain of a pair at a shop; NaN: not said."""
    chance = frame["chance_in_use"].astype(float).groupby(frame["pair_id"]).transform("max")
    return np.where(away & chance.notna(), 1.0, chance)


def _reasons(frame: pd.DataFrame, bare: np.ndarray, name: str, reason: str) -> np.ndarray:
    """Say what each row is based on, or why it is empty."""
    said = frame["reason"].fillna(reason).to_numpy(object)
    gone = frame["chance_in_use"].to_numpy(float) < PROBABLY_GONE
    said = said + np.where(gone, "; probably no longer in use", "").astype(object)
    silent = np.where(bare, "no sole on it now", f"the {name} model gives no date here")
    return np.where(frame["_said"].notna(), said, silent)
