"""Planner: which pair on which day, when is each sent, how good is that, and what must be given up?

The first step decides hand-overs by weeks; its optimum is a bound for every plan. The second drafts
days that wear every pair evenly between its hand-overs. The third finds the best plan by days for
those hand-overs, near to the draft. Small racks choose their hand-overs in the last step.

Rest and limits are never given up. These each count as one wish given up: a day without a pair, a
missed reservation, one pair too many away, a quarter over budget. A pair that goes to the bench
later than its verdict says is named beside them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from solespan.forecast.planning.daily import assign_days
from solespan.forecast.planning.errors import BadPlan
from solespan.forecast.planning.optimum.large_racks import likely_sends, obvious_bound
from solespan.forecast.planning.optimum.milp_builder import MOST_NODES
from solespan.forecast.planning.optimum.sharing import Shared, share_out
from solespan.forecast.planning.rack import DAYS_PER_WEEK, Rack, lay_out
from solespan.forecast.planning.score import (
    KEPT_GAIN,
    GivenUp,
    Kept,
    given_up,
    late_sends,
    score_of,
)
from solespan.forecast.planning.wishes import PairState, Wishes

__all__ = ["EarlierPlan", "GivenUp", "RackPlan", "make_plan"]

WHOLE_CELLS = 600  # pairs x days that are solved whole, hand-overs and all
MOST_CELLS = 1_500  # beyond which the even draft by days stands as it is
LARGE_CELLS = 12_000  # beyond which hand-overs are chosen one after another
PROVEN = 1e-4
NODES_CELLS = 400_000
DAILY_NODES = 200
WEEKLY_GAP = 0.008
GOOD_GAP = 0.01
NEAR_WEEKS = 3


@dataclass(frozen=True)
class EarlierPlan:
    """What an earlier plan said, to be kept where it can: columns as in `RackPlan`."""

    days: pd.DataFrame
    sends: pd.DataFrame


@dataclass(frozen=True)
class RackPlan:
    """A plan for one rack.

    rack : Rack
        The question.
    worn : ndarray of int, shape (D,)
        Index of the pair of each day, -1 for none.
    sent : ndarray of bool, shape (P, W)
        Handed over on the first day of that week.
    given_up : tuple of GivenUp
    score, bound : float
        What the plan reaches and what no plan can pass, in wears within a pair's share.
    gap : float
        (bound - score) / max(|bound|, 1).
    fewest_proven : bool
        Whether no plan gives up fewer wishes.
    """

    rack: Rack
    worn: np.ndarray
    sent: np.ndarray
    given_up: tuple[GivenUp, ...]
    score: float
    bound: float
    gap: float
    fewest_proven: bool

    @property
    def days(self) -> pd.DataFrame:
        """One row a day: worn_on, dress_code, pair_id (None = no pair), reserved (flag)."""
        rack = self.rack
        return pd.DataFrame(
            {
                "worn_on": pd.date_range(rack.start, periods=rack.days).astype("datetime64[s]"),
                "dress_code": rack.code,
                # as objects: among strings a missing one would become a number that is not one
                "pair_id": pd.Series(
                    [None if i < 0 else rack.states[i].pair_id for i in self.worn], dtype=object
                ),
                "reserved": rack.reserved >= 0,
            }
        )

    @property
    def sends(self) -> pd.DataFrame:
        """One row a hand-over: pair_id, send_on, back_on, price_minor, wears before it."""
        rack = self.rack
        rows = []
        for pair, week in zip(*np.nonzero(self.sent), strict=True):
            send_on = rack.date(int(week) * DAYS_PER_WEEK)
            state = rack.states[pair]
            rows.append(
                {
                    "pair_id": state.pair_id,
                    "send_on": send_on,
                    "back_on": send_on + pd.Timedelta(days=int(state.lead_days)),
                    "price_minor": state.price_minor,
                    "wears_before": int((self.worn[: week * DAYS_PER_WEEK] == pair).sum()),
                }
            )
        columns = ["pair_id", "send_on", "back_on", "price_minor", "wears_before"]
        frame = pd.DataFrame(rows, columns=columns)
        return frame.sort_values(["send_on", "pair_id"], ignore_index=True)

    @property
    def wears(self) -> np.ndarray:
        """Wears of each pair, shape (P,)."""
        return np.bincount(self.worn[self.worn >= 0], minlength=len(self.rack.states))


def make_plan(
    states: Sequence[PairState],
    wishes: Wishes,
    start: str | pd.Timestamp,
    *,
    earlier: EarlierPlan | None = None,
) -> RackPlan:
    """Plan a rack.

    Parameters
    ----------
    states : sequence of PairState
        Every pair of one wearer, as known on the eve of `start`.
    wishes : Wishes
    start : date-like
        The first day planned. Pairs are handed over on this weekday.
    earlier : EarlierPlan, optional
        Kept where rest, limits and wishes allow.

    Returns
    -------
    RackPlan

    Raises
    ------
    BadPlan
        See `Wishes` and `forecast.planning.rack.lay_out`.

    Examples
    --------
    >>> pairs = [PairState("oxford", 40, 80), PairState("derby", 60, 80)]
    >>> plan = make_plan(pairs, Wishes(weeks=2), "2026-06-01")
    >>> int(plan.wears.sum()), len(plan.given_up)
    (14, 0)
    """
    rack = lay_out(states, wishes, pd.Timestamp(start).normalize())
    kept = _kept(rack, earlier)
    cells = len(rack.states) * rack.days
    whole = cells <= WHOLE_CELLS
    gap = 0.0 if whole else WEEKLY_GAP
    large = cells > LARGE_CELLS
    weekly = share_out(
        rack,
        step=DAYS_PER_WEEK,
        kept=kept,
        may_send=likely_sends(rack) if large else None,
        gap=gap,
        nodes=_nodes(cells),
    )
    if weekly is None:
        raise BadPlan(
            "No plan was found with so many pairs, weeks and wishes.",
            field="weeks",
            accepted="fewer weeks or fewer wishes",
        )
    if large:
        bound = obvious_bound(rack) + kept.worth(rack) + KEPT_GAIN * len(kept.sends)
        weekly = replace(weekly, bound=bound, proven=False)
    draft = assign_days(rack, weekly, kept)
    found, bounding = [(draft, weekly)], [weekly]
    # hand-overs as the weeks have them, then any (a small rack) or those near (a large one)
    tries = [weekly.sends, None if whole else _around(weekly.sends)]
    for may_send in tries if cells <= MOST_CELLS else ():
        reached = max(score_of(rack, worn, s.sends, kept) for worn, s in found)
        if weekly.bound - reached <= (PROVEN if whole else GOOD_GAP) * max(abs(weekly.bound), 1.0):
            break
        best = share_out(
            rack, step=1, kept=kept, near=draft, may_send=may_send, gap=gap, nodes=DAILY_NODES
        )
        if best is not None and best.days is not None:
            worn = np.where(best.days.any(axis=0), best.days.argmax(axis=0), -1)
            found.append((worn, best))
            if may_send is None:
                bounding.append(best)
    return _plan(rack, found, kept, bounding)


def _nodes(cells: int) -> int:
    """Nodes of the search by weeks: fewer where each takes longer."""
    return int(np.clip(NODES_CELLS // cells, 1, MOST_NODES))


def _around(sends: np.ndarray) -> np.ndarray:
    """Some weeks before and after each hand-over."""
    out = sends.copy()
    for shift in range(1, NEAR_WEEKS + 1):
        out[:, shift:] |= sends[:, :-shift]
        out[:, :-shift] |= sends[:, shift:]
    return out


def _kept(rack: Rack, earlier: EarlierPlan | None) -> Kept:
    if earlier is None:
        return Kept.nothing(rack)
    index = {s.pair_id: i for i, s in enumerate(rack.states)}
    days = np.full(rack.days, -1)
    for on, pair_id in zip(earlier.days["worn_on"], earlier.days["pair_id"], strict=True):
        day = (pd.Timestamp(on) - rack.start).days
        if 0 <= day < rack.days and pair_id in index:
            days[day] = index[pair_id]
    sends = {}
    for on, pair_id in zip(earlier.sends["send_on"], earlier.sends["pair_id"], strict=True):
        # the nearest hand-over day: a new plan may begin on another weekday
        week = round((pd.Timestamp(on) - rack.start).days / DAYS_PER_WEEK)
        if pair_id in index and 0 <= week < rack.days // DAYS_PER_WEEK:
            sends[index[pair_id]] = week
    return Kept(days, sends)


def _plan(
    rack: Rack,
    found: list[tuple[np.ndarray, Shared]],
    kept: Kept,
    bounding: list[Shared],
) -> RackPlan:
    """Keep the best of what was found, against the nearest bound that holds for every plan."""
    scored = [(score_of(rack, worn, s.sends, kept), i) for i, (worn, s) in enumerate(found)]
    score, best = max(scored)
    worn, shared = found[best]
    wishes = tuple(given_up(rack, worn, shared.sends))
    bound = max(score, min(s.bound for s in bounding))
    fewest = max((s.fewest_wishes for s in bounding if s.proven), default=0)
    return RackPlan(
        rack=rack,
        worn=worn,
        sent=shared.sends,
        given_up=(*wishes, *late_sends(rack, shared.sends)),
        score=score,
        bound=bound,
        gap=(bound - score) / max(abs(bound), 1.0),
        fewest_proven=len(wishes) <= fewest,
    )
