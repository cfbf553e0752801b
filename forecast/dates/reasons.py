"""Reasons: what is each forecast based on, in one short text?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from solespan.forecast.frames import PROBABLY_GONE
from solespan.forecast.model.wear_model import Conditioned
from solespan.forecast.panel.panel import HOLE, THUMB, Panel
from solespan.forecast.panel.rate_ages import EDGES_DAYS
from solespan.forecast.use.worn_mostly import worn_mostly

__all__ = ["BASES", "FEW_LOGGED", "UNLOGGED", "basis", "counts_by_path", "long_silent", "reasons"]

BASES = ("", "this pair's earlier soles", "the wearer's other pairs", "other owners' soles")
_CHANGED = 0.25  # log rate: a change of a quarter or so is named
# how the reason of a row begins that is judged by days
UNLOGGED, FEW_LOGGED = "no wear logged", "few wears logged"


_BY_CALENDAR = (
    f"{UNLOGGED}: judged by the calendar",
    f"{UNLOGGED}: judged by the pace that the owner stated",
    f"{FEW_LOGGED}: judged by the calendar",
    f"{FEW_LOGGED}: judged by the pace that they and the owner tell",
)


def counts_by_path(known: Conditioned) -> pd.DataFrame:
    """Per path: readings, thumb grades, holes, likely misreadings, day of the last check."""
    return pd.DataFrame(
        _counts(known), columns=["readings", "thumbs", "holes", "slips", "last_day"]
    )


def _counts(known: Conditioned) -> np.ndarray:
    panel = known.panel
    n = len(panel.nominal_mm)
    kind, path = panel.obs_kind, panel.obs_path
    own = ~panel.obs_waist
    gauge = (kind < THUMB) & own
    slip = gauge & known.slip
    last = np.full(n, -1)
    checked = (panel.obs_check >= 0) & own
    np.maximum.at(last, path[checked], panel.target_day[panel.obs_target[checked]])

    def count(mask: np.ndarray) -> np.ndarray:
        return np.bincount(path[mask], minlength=n)

    seen = (gauge, (kind == THUMB) & own, kind == HOLE, slip)
    return np.stack([*map(count, seen), last], axis=1)


def basis(panel: Panel) -> np.ndarray:
    """What a pair with few checks is based mostly on: a place in `BASES`, by pair."""
    soles = np.bincount(panel.sole_pair, minlength=len(panel.pair_ids))
    pairs = np.bincount(panel.pair_wearer)[panel.pair_wearer]
    return np.where(soles > 1, 1, np.where(pairs > 1, 2, 3))


def long_silent(panel: Panel) -> np.ndarray:
    """Whether nothing was logged for a long time, by path."""
    silent = panel.exposure.silent[panel.path_end]
    worn = panel.exposure.base[panel.path_end].sum(axis=1)
    return np.asarray((silent > np.maximum(5.0, 0.1 * worn)) & ~panel.unlogged_path)


def reasons(known: Conditioned, path: np.ndarray, other: np.ndarray) -> list[str]:
    """One text for each path, or for two that are told of together.

    Each text says what was seen, and names silent gaps and readings that were ignored. When little
    was seen, it says that the row is based mostly on other pairs or the population.

    Parameters
    ----------
    path, other : ndarray of int, shape (rows,)
        The same path twice, or both feet; -1 where there is no sole.
    """
    panel = known.panel
    table = _counts(known)
    both, two = table[path], other != path
    both[two, :4] += table[other[two], :4]
    both[two, 4] = np.maximum(both[two, 4], table[other[two], 4])
    quiet = long_silent(panel)
    pair = panel.path_pair[path]
    lean = np.where(both[:, 0] + both[:, 1] < 2, basis(panel)[pair], 0)
    judged = np.where(panel.unlogged[pair], np.where(np.isnan(panel.pace_sd[pair]), 1, 2), 0)
    judged = np.where((judged > 0) & (panel.pair_wears[pair] > 0), judged + 2, judged)
    season = worn_mostly(known.ahead)
    gone = known.in_use[pair] < PROBABLY_GONE
    moved = _rate_changes(known)
    days = {int(day): str(np.datetime64(int(day), "D")) for day in np.unique(both[:, 4])}
    rows = zip(
        path.tolist(), both.tolist(), lean.tolist(), quiet[path].tolist(), judged.tolist(),
        gone.tolist(), panel.assumed[path].tolist(), pair.tolist(), strict=True,
    )  # fmt: skip
    return [
        "; ".join(
            [
                _text(seen, days, leaning, is_quiet, by_calendar, is_gone, is_assumed, season[of]),
                *([moved[at]] if at in moved else []),
            ]
        )
        if at >= 0
        else "no sole on it now"
        for at, seen, leaning, is_quiet, by_calendar, is_gone, is_assumed, of in rows
    ]


def _rate_changes(known: Conditioned) -> dict[int, str]:
    """Words for each path whose wear rate is clearly not what it was."""
    panel = known.panel
    if not panel.moving.any():
        return {}
    steps = known.rate_steps
    worn_then = panel.target_older[panel.path_end].T > 0.0
    change = -np.cumsum(steps, axis=0) * worn_then  # of today's log rate over that of each stretch
    farthest = np.abs(change).argmax(axis=0)
    out = {}
    for path in np.flatnonzero(np.abs(change).max(axis=0) > _CHANGED).tolist():
        by = float(change[farthest[path], path])
        back = np.sign(-by) * steps[: farthest[path] + 1, path]
        since = np.datetime64(panel.as_of_day - EDGES_DAYS[int(back.argmax())], "D").item()
        word = "faster" if by > 0.0 else "slower"
        out[path] = f"wears {word} since about {since:%B %Y}, so the forecast is wider"
    return out


def _text(
    seen: list[int],
    days: dict[int, str],
    leaning: int,
    is_quiet: bool,
    by_calendar: int,
    is_gone: bool,
    is_assumed: bool,
    season: str,
) -> str:
    readings, thumbs, holes, slips, last = seen
    parts = [_seen(readings, thumbs, holes, days[last])]
    also = f" and {BASES[leaning]}" if leaning else ""
    if by_calendar:
        parts.append(f"{_BY_CALENDAR[by_calendar - 1]}{also}")
    elif leaning:
        parts.append(f"based mostly on {BASES[leaning]}")
    if season:
        parts.append(f"worn mostly {season}")
    if is_gone:
        parts.append("probably no longer in use")
    if slips:
        parts.append(f"{slips} reading{'s' * (slips > 1)} ignored as a likely misreading")
    if is_quiet:
        parts.append("nothing was logged for a long time, so the forecast is wider")
    if is_assumed:
        parts.append("what the sole is was assumed, so the forecast is wider")
    return "; ".join(parts)


def _seen(readings: int, thumbs: int, holes: int, last: str) -> str:
    if holes:
        return "a hole was seen"
    if not readings and not thumbs:
        return "no check yet"
    parts = []
    if readings:
        parts.append(f"{readings} reading{'s' * (readings > 1)}")
    if thumbs:
        parts.append(f"{thumbs} thumb check{'s' * (thumbs > 1)}")
    return f"{' and '.join(parts)}, last on {last}"
