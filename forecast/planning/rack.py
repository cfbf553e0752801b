"""Rack as arrays.

Which pair may be worn on which day at all, and how often should each be worn in the plan?
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from solespan.forecast.planning.errors import BadPlan
from solespan.forecast.planning.wishes import MOST_PAIRS, Occasion, PairState, Wishes

__all__ = ["Rack", "lay_out"]

DAYS_PER_WEEK = 7
WEEKS_PER_QUARTER = 13
_SHARING_STEPS = 200


@dataclass(frozen=True)
class Rack:
    """A plan's question as arrays, for P pairs and D days from `start`.

    states, wishes : what was asked.
    code : ndarray of str, shape (D,)
        Dress code of each day, "none" where no pair is worn.
    allowed : ndarray of bool, shape (P, D)
        Code, season, first rest and open bench job let the pair be worn on the day.
    wet : ndarray of bool, shape (D,)
    reserved : ndarray of int, shape (D,)
        Index of the pair reserved for the day, -1 for none.
    lead : ndarray of int, shape (P,)
        Weeks away when sent.
    left, new, price : ndarray of int, shape (P,)
    target : ndarray of int, shape (P,)
        Wears in the plan that are the pair's share.
    """

    states: tuple[PairState, ...]
    wishes: Wishes
    start: pd.Timestamp
    code: np.ndarray
    allowed: np.ndarray
    wet: np.ndarray
    reserved: np.ndarray
    lead: np.ndarray
    left: np.ndarray
    new: np.ndarray
    price: np.ndarray
    target: np.ndarray

    @property
    def days(self) -> int:
        """Days in the plan."""
        return len(self.code)

    @property
    def weeks(self) -> int:
        """Weeks in the plan."""
        return self.days // DAYS_PER_WEEK

    @property
    def sendable(self) -> np.ndarray:
        """Whether a new sole is worth it, shape (P,)."""
        return np.array([s.next_sole != "retire" for s in self.states])

    @property
    def due_week(self) -> np.ndarray:
        """Week from which each day on the shelf counts against the plan; `weeks` = never."""
        out = np.full(len(self.states), self.weeks)
        for pair, state in enumerate(self.states):
            back = 0 if state.away_until is None else (state.away_until - self.start).days
            if not self.sendable[pair]:
                continue
            if self.left[pair] <= 0:
                out[pair] = max(-(-back // DAYS_PER_WEEK), 0)
            elif state.send_by is not None:
                out[pair] = max((state.send_by - self.start).days // DAYS_PER_WEEK, 0)
        weeks: np.ndarray = np.minimum(out, self.weeks)
        return weeks

    @property
    def usual_per_quarter(self) -> int:
        """Soles in a quarter that cost nothing: what the rack needs anyway, one at least."""
        needed = float((self.target / self.new)[self.sendable].sum()) / self.weeks
        return max(1, round(needed * WEEKS_PER_QUARTER))

    @property
    def quarter_wears(self) -> np.ndarray:
        """Wears of each pair in a quarter at its share, one at least, shape (P,)."""
        wears: np.ndarray = np.maximum(self.target / self.weeks * WEEKS_PER_QUARTER, 1.0)
        return wears

    def rest_after(self, day: int) -> int:
        """Full days of rest after wear on a day."""
        return self.wishes.rest_days_wet if self.wet[day] else self.wishes.rest_days

    def date(self, day: int) -> pd.Timestamp:
        """Calendar date of a day of the plan."""
        return self.start + pd.Timedelta(days=day)


def lay_out(states: Sequence[PairState], wishes: Wishes, start: pd.Timestamp) -> Rack:
    """Turn wishes and state into arrays.

    Parameters
    ----------
    states : sequence of PairState
        All pairs of one wearer; retired ones are left out of the arrays.
    wishes : Wishes
    start : Timestamp
        First day of the plan.

    Raises
    ------
    BadPlan
        No pair, a retired or unknown pair named, an occasion outside the plan.
    """
    days = wishes.weeks * DAYS_PER_WEEK
    live = tuple(s for s in states if not s.retired)
    _check(states, live, wishes, start, days)
    index = {s.pair_id: i for i, s in enumerate(live)}
    dates = pd.date_range(start, periods=days)
    code = np.array([wishes.week[d.day_of_week] for d in dates], dtype=object)
    wet, reserved = np.zeros(days, bool), np.full(days, -1)
    for one in wishes.occasions:
        day = (one.on - start).days
        code[day] = one.dress_code or code[day]
        wet[day] = one.wet
        if one.pair_id is not None:
            reserved[day] = index[one.pair_id]
            if code[day] == "none":
                code[day] = live[index[one.pair_id]].dress_code or "casual"
    if wishes.wear == "as now":
        asked = np.isin(np.arange(days), [(one.on - start).days for one in wishes.occasions])
        code = _as_often_as_now(code, asked, sum(s.wears_per_week for s in live))
    allowed = np.array([_allowed(s, wishes, code, dates) for s in live])
    for day in np.flatnonzero(reserved >= 0).tolist():
        pair = int(reserved[day])
        near = np.arange(days)
        rest = np.where(near < day, _rests(wishes, wet)[near], _rests(wishes, wet)[day])
        close = (np.abs(near - day) <= rest) & (near != day) & (reserved != pair)
        allowed[pair, close] = False
        away = live[pair].away_until
        allowed[pair, day] = away is None or start + pd.Timedelta(days=int(day)) >= away
    lead = np.array([max(1, -(-s.lead_days // DAYS_PER_WEEK)) for s in live])
    left = np.array([max(0, s.wear_days_left) for s in live])
    new = np.array([max(1, s.wear_days_new) for s in live])
    demand = code != "none"
    target = _shares(allowed & demand, demand, _weights(live, wishes, left))
    return Rack(
        states=live,
        wishes=wishes,
        start=start,
        code=code,
        allowed=allowed & demand,
        wet=wet,
        reserved=reserved,
        lead=lead,
        left=left,
        new=new,
        price=np.array([s.price_minor for s in live]),
        target=target,
    )


def _check(
    states: Sequence[PairState],
    live: Sequence[PairState],
    wishes: Wishes,
    start: pd.Timestamp,
    days: int,
) -> None:
    if not live:
        raise BadPlan(
            "There is no pair to plan with." if not states else "Every pair is retired.",
            field="pairs",
            accepted="at least one pair with a sole on it",
        )
    if len(live) > MOST_PAIRS:
        raise BadPlan(f"{len(live)} pairs are too many.", field="pairs", accepted="up to 120")
    known, of_live = {s.pair_id for s in states}, {s.pair_id for s in live}
    named = [o.pair_id for o in wishes.occasions if o.pair_id is not None]
    for pair_id in (*named, *wishes.weights, *wishes.months):
        if pair_id not in known:
            raise BadPlan(
                f"There is no pair {pair_id!r} on this rack.",
                field="pair_id",
                accepted=", ".join(sorted(of_live)[:8]),
            )
        if pair_id not in of_live:
            raise BadPlan(
                f"The pair {pair_id} is retired and cannot be planned.",
                field="pair_id",
                accepted="a pair with a sole on it",
            )
    last = start + pd.Timedelta(days=days - 1)
    for one in wishes.occasions:
        _inside(one, start, last)


def _inside(one: Occasion, start: pd.Timestamp, last: pd.Timestamp) -> None:
    if not start <= one.on <= last:
        raise BadPlan(
            f"The occasion of {one.on.date()} lies outside the plan.",
            field="occasions.on",
            accepted=f"{start.date()} to {last.date()}",
        )


def _as_often_as_now(code: np.ndarray, asked: np.ndarray, wears_per_week: float) -> np.ndarray:
    """Keep as many of the week's days as the rack is worn now, evenly spread; occasions stay."""
    days = np.flatnonzero((code != "none") & ~asked)
    wanted = wears_per_week / DAYS_PER_WEEK * len(code) - np.count_nonzero(code[asked] != "none")
    share = np.clip(wanted / max(len(days), 1), 0.0, 1.0)
    step = np.floor(np.arange(1, len(days) + 1) * share + 0.5)
    kept = np.diff(step, prepend=0.0) > 0
    if len(days) and not kept.any() and not asked.any():
        kept[len(days) // 2] = True
    out = code.copy()
    out[days[~kept]] = "none"
    return out


def _rests(wishes: Wishes, wet: np.ndarray) -> np.ndarray:
    return np.where(wet, wishes.rest_days_wet, wishes.rest_days)


def _allowed(
    state: PairState, wishes: Wishes, code: np.ndarray, dates: pd.DatetimeIndex
) -> np.ndarray:
    fits = np.array(
        [
            c != "none"
            and (state.dress_code is None or state.dress_code in wishes.accepted_codes.get(c, (c,)))
            for c in code
        ]
    )
    months = wishes.months.get(state.pair_id)
    if months:
        fits &= np.isin(dates.month, months)
    if state.last_worn is not None:
        rest = wishes.rest_days_wet if state.last_wet else wishes.rest_days
        fits &= np.asarray(dates > state.last_worn + pd.Timedelta(days=rest))
    if state.away_until is not None:
        fits &= np.asarray(dates >= state.away_until)
    return np.asarray(fits)


def _weights(live: Sequence[PairState], wishes: Wishes, left: np.ndarray) -> np.ndarray:
    power = wishes.aims.preference_power
    weight = np.array([max(wishes.weights.get(s.pair_id, 1.0), 1e-3) ** power for s in live])
    if wishes.wear == "as now":
        weight *= np.array([max(s.wears_per_week, 1e-3) for s in live])
    if wishes.wear == "uneven" and len(live) > 1:
        rank = np.argsort(np.argsort(left, kind="stable"), kind="stable")
        weight *= 1.5 - rank / (len(live) - 1)
    return weight


def _shares(allowed: np.ndarray, demand: np.ndarray, weight: np.ndarray) -> np.ndarray:
    """Whole shares of the days, as near to the weights as codes and seasons let them be."""
    days = allowed[:, demand].astype(float)
    kinds, count = np.unique(days, axis=1, return_counts=True)
    factor = np.ones(len(weight))
    total = np.zeros(len(weight))
    for _ in range(_SHARING_STEPS):
        pull = kinds * (weight * factor)[:, None]
        total = (pull / np.maximum(pull.sum(axis=0), 1e-12) * count).sum(axis=1)
        wanted = weight / weight.sum() * total.sum()
        factor *= np.clip(wanted / np.maximum(total, 1e-9), 0.2, 5.0) ** 0.5
        factor = np.clip(factor, 1e-6, 1e6)
    whole = np.floor(total + 1e-9).astype(int)
    short = round(float(total.sum())) - whole.sum()
    most = np.argsort(whole - total, kind="stable")[: max(int(short), 0)]
    whole[most] += 1
    return whole
