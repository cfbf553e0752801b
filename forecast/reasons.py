"""What does each forecast lean on, in one short text?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from forecast.panel import HOLE, THUMB
from forecast.wear_model import Conditioned

__all__ = ["SLIP_WEIGHT", "counts_by_path", "reasons"]

SLIP_WEIGHT = 0.3  # a reading with less weight than this was set aside as a slip


def counts_by_path(known: Conditioned) -> pd.DataFrame:
    """Per path: gauge readings, thumb grades, holes, slips and the day of the last check."""
    panel = known.panel
    n = len(panel.nominal_mm)
    kind, path = panel.obs_kind, panel.obs_path
    own = ~panel.obs_waist
    gauge = (kind < THUMB) & own
    slip = gauge & (known.lin.weight < SLIP_WEIGHT)
    last = np.full(n, -1)
    np.maximum.at(last, path, panel.target_day[panel.obs_target])

    def count(mask: np.ndarray) -> np.ndarray:
        return np.bincount(path[mask], minlength=n)

    return pd.DataFrame(
        {
            "readings": count(gauge),
            "thumbs": count((kind == THUMB) & own),
            "holes": count(kind == HOLE),
            "slips": count(slip),
            "last_day": last,
        }
    )


def reasons(known: Conditioned, frame: pd.DataFrame) -> list[str]:
    """One text a row of a forecast frame (which still has its `_path` and `_other` columns).

    Says what was seen, that the row leans on other pairs or the population when little was seen,
    and names silent gaps and readings set aside.
    """
    panel = known.panel
    seen = counts_by_path(known)
    silent = panel.exposure.silent[panel.path_end]
    worn = panel.exposure.base[panel.path_end].sum(axis=1)
    soles_of_pair = np.bincount(panel.sole_pair, minlength=len(panel.pair_ids))
    pairs_of_wearer = np.bincount(panel.pair_wearer)
    texts = []
    table = seen.to_numpy().tolist()
    for path, other in zip(frame["_path"].to_numpy(), frame["_other"].to_numpy(), strict=True):
        if path < 0:
            texts.append("no sole on it now")
            continue
        readings, thumbs, holes, slips, last = table[path]
        if other != path:
            readings, thumbs, holes, slips = (
                a + b for a, b in zip(table[path][:4], table[other][:4], strict=True)
            )
            last = max(last, table[other][4])
        parts = [_seen(readings, thumbs, holes, last)]
        if readings + thumbs < 2:
            pair = panel.path_pair[path]
            if soles_of_pair[pair] > 1:
                parts.append("leans on the pair's earlier soles")
            elif pairs_of_wearer[panel.pair_wearer[pair]] > 1:
                parts.append("leans on the wearer's other pairs and the population")
            else:
                parts.append("leans on the population")
        if slips:
            parts.append(f"{slips} reading{'s' * (slips > 1)} set aside as a slip")
        if silent[path] > max(5.0, 0.1 * worn[path]):
            parts.append("the log is silent for a long stretch, so the forecast is wider")
        texts.append("; ".join(parts))
    return texts


def _seen(readings: int, thumbs: int, holes: int, last_day: int) -> str:
    if holes:
        return "a hole was seen"
    if not readings and not thumbs:
        return "no check yet"
    parts = []
    if readings:
        parts.append(f"{readings} reading{'s' * (readings > 1)}")
    if thumbs:
        parts.append(f"{thumbs} thumb check{'s' * (thumbs > 1)}")
    when = np.datetime64(int(last_day), "D")
    return f"{' and '.join(parts)}, last on {when}"
