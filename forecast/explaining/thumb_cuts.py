"""Thumb cut points (ordered probit): from which thickness on does each owner's thumb say a grade?

The cut points are those of a sole with the usual limit. A thickness beside a grade narrows them.
So does a grade of a sole whose thickness is known by its wear.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from solespan.forecast.explaining.one_pair import one_pair
from solespan.forecast.log import WearLog
from solespan.forecast.model.wear_fit import WearFit
from solespan.forecast.model.wear_model import Conditioned
from solespan.forecast.settings import ForecastSettings

__all__ = ["ThumbCuts", "cuts_of_pair", "thumb_cuts"]


@dataclass(frozen=True)
class ThumbCuts:
    """Where an owner's thumb goes from `firm` to `give`, and from `give` to `soft`.

    firm_from_mm, give_from_mm : thickness of a sole whose limit is the usual one, 2 mm.
    sd_mm : of both, as they move together.
    """

    firm_from_mm: float
    give_from_mm: float
    sd_mm: float


def cuts_of_pair(
    fit: WearFit,
    log: WearLog,
    pair_id: str,
    as_of: str | pd.Timestamp,
    settings: ForecastSettings | None = None,
    *,
    known: Conditioned | None = None,
) -> ThumbCuts:
    """Find the cut points of a pair's owner; parameters and errors as `one_pair`."""
    mine = one_pair(fit, log, pair_id, as_of, settings, known)
    panel = mine.known.panel
    owner = panel.wearer_ids[panel.pair_wearer[mine.pair]]
    row = thumb_cuts(fit, mine.known).loc[owner]
    return ThumbCuts(*(float(row[n]) for n in ("firm_from_mm", "give_from_mm", "sd_mm")))


def thumb_cuts(fit: WearFit, known: Conditioned) -> pd.DataFrame:
    """Find the cut points of each wearer.

    Parameters
    ----------
    fit : WearFit
    known : Conditioned
        Posterior of the wearers.

    Returns
    -------
    DataFrame
        Indexed by wearer_id; columns as the fields of `ThumbCuts`. Who never pressed a sole has
        what the fit says of people who were not seen.
    """
    scale = fit.noise.thumb
    shift, sd = known.thumb_shift()
    common, common_sd = fit.effect({"thumb_shift_mm": 1.0})
    unseen = np.isnan(sd)
    shift = np.where(unseen, common, shift)
    sd = np.where(unseen, np.hypot(common_sd, fit.spread["thumb"]), sd)
    return pd.DataFrame(
        {
            "firm_from_mm": scale.firm_from_mm - shift,
            "give_from_mm": scale.give_from_mm - shift,
            "sd_mm": sd,
        },
        index=pd.Index(known.panel.wearer_ids, name="wearer_id"),
    )
