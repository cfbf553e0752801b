"""Sharing programme (integer programme).

How often is each pair worn in each period, and in which week is it sent, at best?

One integer programme for periods of a week or of a day. With periods of a day it is the whole
question. With periods of a week, rest is only counted: at most four wears in a week after one day's
rest, seven in two. So its optimum is a bound that no plan of days can pass.

The score to maximise is that of `forecast.planning.score`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from solespan.forecast.planning.optimum.crowds import add_crowds
from solespan.forecast.planning.optimum.milp_builder import MOST_NODES, Solved
from solespan.forecast.planning.optimum.resting import add_rest
from solespan.forecast.planning.optimum.share_model import ShareModel
from solespan.forecast.planning.rack import DAYS_PER_WEEK, Rack
from solespan.forecast.planning.score import (
    KEPT_DAY_GAIN,
    KEPT_GAIN,
    WAIT_COST,
    WISH_COST,
    Kept,
    quarter_of_week,
)

__all__ = ["Shared", "share_out"]

NEAR_GAIN = 1e-3  # of a whole plan that is as the draft: decides between equal plans only


@dataclass(frozen=True)
class Shared:
    """Answer of the programme.

    wears : ndarray, shape (P, W)
        Wears in each week; parts of a wear where the bound only counts them.
    days : ndarray of bool, shape (P, D), or None
        Wears on each day, where periods are days.
    sends : ndarray of bool, shape (P, W)
        Handed over on the first day of that week.
    bound : float
        No plan's score is higher.
    fewest_wishes : int
        Fewest wishes that any plan gives up, as far as `proven`.
    proven : bool
        Whether `fewest_wishes` was proven.
    """

    wears: np.ndarray
    days: np.ndarray | None
    sends: np.ndarray
    bound: float
    fewest_wishes: int
    proven: bool


def share_out(
    rack: Rack,
    *,
    step: int,
    kept: Kept | None = None,
    near: np.ndarray | None = None,
    may_send: np.ndarray | None = None,
    gap: float = 0.01,
    nodes: int = MOST_NODES,
) -> Shared | None:
    """Find the best sharing; None when the solver found nothing within its nodes.

    Parameters
    ----------
    rack : Rack
    step : int
        Days in a period, 7 or 1.
    kept : Kept, optional
        What an earlier plan said.
    near : ndarray of int, shape (D,), optional
        Pair of each day that is taken where the score is the same.
    may_send : ndarray of bool, shape (P, W), optional
        Hand-overs that may be chosen; the bound then holds for these only.
    gap : float
        Relative distance to the bound at which the search may end.
    nodes : int
        Nodes of the search tree.
    """
    model = ShareModel(rack, step)
    kept = kept or Kept.nothing(rack)
    _add_sends(model, kept.sends)
    _add_wears(model, kept.days, near)
    add_rest(model)
    _add_soles(model)
    _add_limits(model)
    add_crowds(model, searched=may_send is None or step == 1)
    _add_shares(model)
    programme = model.programme
    if may_send is not None:
        for (pair, week), variable in model.send.items():
            if not may_send[pair, week]:
                programme.forbid(variable)
    found = programme.solve(gap=gap, nodes=nodes)
    if found is None:
        return None
    given_up = int(np.ceil(sum(found.values[v] for v in model.wishes) - 1e-6))
    proven = True
    if given_up:
        given_up, proven, found = _fewest_wishes(model, found, given_up, nodes, gap)
    return _answer(model, found, given_up, proven, 0.0 if step == 1 else kept.worth(rack))


def _fewest_wishes(
    model: ShareModel, found: Solved, given_up: int, nodes: int, gap: float
) -> tuple[int, bool, Solved]:
    """Prove how many wishes at least must be given up, and hold the answer to that many."""
    programme = model.programme
    only = np.zeros(programme.size)
    only[model.wishes] = -1.0
    fewest = programme.solve(gains=only, nodes=nodes)
    if fewest is None:
        return given_up, False, found
    least = round(-fewest.bound + 0.499)
    if given_up <= least:
        return given_up, True, found
    programme.row([(v, 1.0) for v in model.wishes], most=round(-fewest.value))
    better = programme.solve(gap=gap, nodes=nodes)
    return round(-fewest.value), fewest.proven, better or found


def _add_sends(model: ShareModel, kept: Mapping[int, int]) -> None:
    rack, programme = model.rack, model.programme
    cost = rack.wishes.aims.sole_cost
    for pair, (state, worth) in enumerate(zip(rack.states, rack.sendable, strict=True)):
        due = int(rack.due_week[pair])
        for week in range(model.weeks):
            gain = -cost + (KEPT_GAIN if kept.get(pair) == week else 0.0)
            back = state.away_until
            here = back is None or rack.date(week * DAYS_PER_WEEK) >= back
            send = model.send[pair, week] = programme.variable(gain, 1.0 if here and worth else 0.0)
            sent = model.sent[pair, week] = programme.variable(0.0, np.inf, whole=False)
            before = [(model.sent[pair, week - 1], -1.0)] if week else []
            programme.row([(sent, 1.0), (send, -1.0), *before], least=0.0, most=0.0)
            programme.row(model.away(pair, week), most=1.0)
            if week >= due:
                waiting = programme.variable(-WAIT_COST, whole=False)
                programme.row([(sent, 1.0), (waiting, 1.0)], least=1.0)


def _add_wears(model: ShareModel, kept_days: np.ndarray, near: np.ndarray | None) -> None:
    """Add who is worn how often on each kind of day of a period; a day without a pair is a wish."""
    rack, programme = model.rack, model.programme
    for period in range(model.periods):
        first = period * model.step
        demand = [d for d in range(first, first + model.step) if rack.code[d] != "none"]
        kinds: dict[tuple[object, ...], list[int]] = {}
        for day in demand:
            # a day with a reservation is of a kind of its own: each is kept or missed by itself
            promise = day if rack.reserved[day] >= 0 else -1
            kinds.setdefault((promise, rack.allowed[:, day].tobytes()), []).append(day)
        for kind, days in enumerate(kinds.values()):
            cap = _most_in(days, rack.wishes.rest_days)
            terms: list[tuple[int, float]] = []
            for pair in np.flatnonzero(rack.allowed[:, days[0]]):
                gain = 0.0
                if model.step == 1:
                    gain += KEPT_DAY_GAIN * float(kept_days[first] == pair)
                    gain += (
                        0.0 if near is None else float(near[first] == pair) * NEAR_GAIN / rack.days
                    )
                variable = programme.variable(gain, float(cap), whole=model.whole)
                model.wear[int(pair), period, kind] = variable
                model.by_period.setdefault((int(pair), period), []).append(variable)
                terms.append((variable, 1.0))
                away = model.away(int(pair), model.week_of(period), float(cap))
                programme.row([(variable, 1.0), *away], most=float(cap))
            nobody = programme.variable(-WISH_COST, float(len(days)), whole=model.whole)
            model.wishes.append(nobody)
            programme.row([*terms, (nobody, 1.0)], least=len(days), most=len(days))
            _reserve(model, days[0], period, kind)


def _reserve(model: ShareModel, day: int, period: int, kind: int) -> None:
    pair = int(model.rack.reserved[day])
    if pair < 0:
        return
    missed = model.programme.variable(-model.rack.wishes.aims.missed_cost)
    model.wishes.append(missed)
    worn = model.wear.get((pair, period, kind))
    if worn is not None:
        model.promised[day] = worn
    terms = [(missed, 1.0)] if worn is None else [(missed, 1.0), (worn, 1.0)]
    model.programme.row(terms, least=1.0)


def _most_in(days: list[int], rest: int) -> int:
    """Most wears of one pair on these days with so much rest after each."""
    count, free = 0, -1
    for day in days:
        if day >= free:
            count, free = count + 1, day + rest + 1
    return count


def _add_soles(model: ShareModel) -> None:
    """No wear past what is left on a sole; no sole is sent with much of it left.

    What is left after the last day counts like wears to come, and is worth its part of a sole.
    """
    rack, programme = model.rack, model.programme
    per_week = DAYS_PER_WEEK // model.step
    for pair in range(len(rack.states)):
        left, new = float(rack.left[pair]), float(rack.new[pair])
        due = rack.due_week[pair] < model.weeks
        least = 0.0 if due else float(np.ceil(rack.wishes.earliest_share * left))
        last = model.weeks - 1
        worth = rack.wishes.aims.sole_cost / new if rack.sendable[pair] else 0.0
        rest = model.rest[pair] = programme.variable(worth, max(left, new), whole=False)
        for week in range(model.weeks):
            worn = model.worn[pair, week] = programme.variable(0.0, np.inf, whole=False)
            before = [(model.worn[pair, week - 1], -1.0)] if week else []
            now = [(v, -1.0) for v, _ in model.wears(pair, week * per_week, (week + 1) * per_week)]
            programme.row([(worn, 1.0), *before, *now], least=0.0, most=0.0)
        end = [(model.worn[pair, last], 1.0), (rest, 1.0)]
        all_sent = model.sent[pair, last]
        for week in range(model.weeks):
            terms = end if week == last else [(model.worn[pair, week], 1.0)]
            programme.row([*terms, (model.sent[pair, week], -new)], most=left)
            if not rack.sendable[pair]:
                continue
            send, sent = model.send[pair, week], model.sent[pair, week]
            earlier = [(model.worn[pair, week - 1], 1.0)] if week else []
            if least > 0:
                programme.row([*earlier, (send, -least)], least=0.0)
            # what is left on a sole that is sent is lost: after it there are only new ones
            after = [*end, *((v, -1.0) for v, _ in earlier)]
            programme.row([*after, (all_sent, -new), (send, left)], most=left)
            ahead = -(-(rack.days - week * DAYS_PER_WEEK) // (rack.wishes.rest_days + 1))
            most = ahead + max(left, new)
            later = [(all_sent, -new), (sent, new)] if week < last else []
            programme.row([*after, *later, (send, most - new)], most=most)


def _add_limits(model: ShareModel) -> None:
    """How many are away at once, and what a quarter may cost; more of either is a wish given up."""
    rack, programme, wishes = model.rack, model.programme, model.rack.wishes
    pairs = range(len(rack.states))
    more = programme.variable(-WISH_COST, float(len(rack.states)))
    model.wishes.append(more)
    for week in range(model.weeks):
        monday = rack.date(week * DAYS_PER_WEEK)
        already = sum(s.away_until is not None and monday < s.away_until for s in rack.states)
        away = [term for p in pairs for term in model.away(p, week)]
        # those away already cannot be called back; they leave no place for others
        programme.row([*away, (more, -1.0)], most=float(max(wishes.most_away - already, 0)))
    quarters: dict[tuple[int, int], list[int]] = {}
    for week in range(model.weeks):
        quarters.setdefault(quarter_of_week(rack, week), []).append(week)
    if wishes.budget_minor_per_quarter is not None and rack.price.any():
        for weeks in quarters.values():
            over = programme.variable(-WISH_COST)
            model.wishes.append(over)
            spent = [(model.send[p, k], float(rack.price[p])) for p in pairs for k in weeks]
            total = float(rack.price.sum()) * len(weeks)
            programme.row([*spent, (over, -total)], most=float(wishes.budget_minor_per_quarter))


def _add_shares(model: ShareModel) -> None:
    rack, programme = model.rack, model.programme
    gain = rack.wishes.aims.share_gain
    for pair, target in enumerate(rack.target):
        counted = programme.variable(gain, float(target), whole=False)
        programme.row([(counted, 1.0), (model.worn[pair, model.weeks - 1], -1.0)], most=0.0)
        left = float(rack.left[pair])
        if left < target:
            # implied by the rows above for whole sends, but a much nearer bound for parts of one
            room = [
                (
                    model.send[pair, week],
                    -min(target - left, float(_room_after(rack, pair, week))),
                )
                for week in range(model.weeks)
            ]
            programme.row([(counted, 1.0), *room], most=left)


def _room_after(rack: Rack, pair: int, week: int) -> int:
    """Most wears of a pair sent in a week, once it is back."""
    days = rack.days - (week + int(rack.lead[pair])) * DAYS_PER_WEEK
    return max(0, -(-days // (rack.wishes.rest_days + 1)))


def _answer(model: ShareModel, found: Solved, fewest: int, proven: bool, more: float) -> Shared:
    rack = model.rack
    n = len(rack.states)
    wears = np.zeros((n, model.weeks))
    days = np.zeros((n, rack.days), bool) if model.step == 1 else None
    for (pair, period, _), variable in model.wear.items():
        wears[pair, model.week_of(period)] += found.values[variable]
        if days is not None and found.values[variable] > 0.5:
            days[pair, period] = True
    sends = np.zeros((n, model.weeks), bool)
    for (pair, week), variable in model.send.items():
        sends[pair, week] = found.values[variable] > 0.5
    return Shared(wears, days, sends, float(found.bound + more), fewest, proven)
