"""Random effects: how much faster than the average does each wearer, pair, sole and foot wear?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from solespan.forecast.model.wear_model import Conditioned

__all__ = ["random_effects"]

_LEVELS = ("wearer", "pair", "sole", "foot")


def random_effects(known: Conditioned) -> dict[str, pd.DataFrame]:
    """Posterior means and SDs on the log rate at the ball, by `wearer`, `pair`, `sole`, `foot`.

    Returns
    -------
    dict of DataFrame
        Columns `mean` and `sd`, indexed by wearer_id, pair_id or sole_id. A pair and its wearer are
        read off the pair's newest sole. `foot`: left less right of a sole.
    """
    panel = known.panel
    wearer = panel.pair_wearer[panel.sole_pair]
    found = [known.effects(sole) for sole in range(len(panel.sole_ids))]
    table = {name: np.array([one[name] for one in found]) for name in _LEVELS}
    ids = {
        "wearer": pd.Index(panel.wearer_ids[wearer], name="wearer_id"),
        "pair": pd.Index(panel.pair_ids[panel.sole_pair], name="pair_id"),
        "sole": pd.Index(panel.sole_ids, name="sole_id"),
    }
    ids["foot"] = ids["sole"]
    frames = {
        name: pd.DataFrame(values, index=ids[name], columns=["mean", "sd"])
        for name, values in table.items()
    }
    return {name: frame[~frame.index.duplicated(keep="last")] for name, frame in frames.items()}
