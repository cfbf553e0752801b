"""Sharing programme (integer programme).

How often is each pair worn in each period, and in which week is it sent, at best?

One integer programme for periods of a week or of a day. With periods of a day it is the whole
question. With periods of a week, rest is only counted: at most four wears in a week after one day's
rest, seven in two. So its optimum is a bound that no plan of days can pass.

The score to maximise, in wears: every wear that is within a pair's share counts one. A sole sent
costs `SEND_COST`. The second sole sent in one month `MONTH_COST`, each further one twice that. A
wish given up `WISH_COST`. A sole sent in the week that an earlier plan named gains `KEPT_GAIN`, and
a day that is as that plan said `KEPT_DAY_GAIN`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from solespan.forecast.planning.milp_builder import Solved
from solespan.forecast.planning.rack import DAYS_PER_WEEK, Rack
from solespan.forecast.planning.resting import add_rest
from solespan.forecast.planning.share_model import ShareModel

__all__ = [
    "KEPT_DAY_GAIN",
    "KEPT_GAIN",
    "MONTH_COST",
    "SEND_COST",
    "WISH_COST",
    "Kept",
    "Shared",
    "month_of_week",
    "quarter_of_week",
    "share_out",
]

SEND_COST = 2.0
MONTH_COST = 4.0
WISH_COST = 100.0
KEPT_GAIN = 3.0
KEPT_DAY_GAIN = 0.5


@dataclass(frozen=True)
class Kept:
    """What an earlier plan said of the same days.

    days : ndarray of int, shape (D,)
        Index of the pair planned for the day, -1 for none.
    sends : mapping of pair index to week
    """

    days: np.ndarray
    sends: Mapping[int, int]

    @classmethod
    def nothing(cls, rack: Rack) -> Kept:
        """There was no earlier plan."""
        return cls(np.full(rack.days, -1), {})

    def worth(self, rack: Rack) -> float:
        """What keeping every day that can be kept would gain."""
        days = np.flatnonzero(self.days >= 0)
        return KEPT_DAY_GAIN * float(rack.allowed[self.days[days], days].sum())


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


def month_of_week(rack: Rack, week: int) -> tuple[int, int]:
    """Calendar month of the day on which a week's pairs are handed over."""
    day = rack.date(week * DAYS_PER_WEEK)
    return day.year, day.month


def quarter_of_week(rack: Rack, week: int) -> tuple[int, int]:
    """Calendar quarter of the same day."""
    day = rack.date(week * DAYS_PER_WEEK)
    return day.year, day.quarter


def share_out(
    rack: Rack,
    *,
    step: int,
    kept: Kept | None = None,
    near: np.ndarray | None = None,
    may_send: np.ndarray | None = None,
    gap: float = 0.01,
    seconds: float = 15.0,
) -> Shared | None:
    """Find the best sharing; None when the solver found nothing in the time given.

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
    seconds : float
    """
    model = ShareModel(rack, step)
    kept = kept or Kept.nothing(rack)
    _add_sends(model, kept.sends)
    _add_wears(model, kept.days, near)
    add_rest(model)
    _add_soles(model)
    _add_limits(model)
    _add_shares(model)
    programme = model.programme
    if may_send is not None:
        for (pair, week), variable in model.send.items():
            if not may_send[pair, week]:
                programme.forbid(variable)
    found = programme.solve(gap=gap, seconds=seconds * 0.7)
    if found is None:
        return None
    given_up = int(np.ceil(sum(found.values[v] for v in model.wishes) - 1e-6))
    proven = True
    if given_up:
        given_up, proven, found = _fewest_wishes(model, found, given_up, seconds * 0.3, gap)
    return _answer(model, found, given_up, proven, 0.0 if step == 1 else kept.worth(rack))


def _fewest_wishes(
    model: ShareModel, found: Solved, given_up: int, seconds: float, gap: float
) -> tuple[int, bool, Solved]:
    """Prove how many wishes at least must be given up, and hold the answer to that many."""
    programme = model.programme
    only = np.zeros(programme.size)
    only[model.wishes] = -1.0
    fewest = programme.solve(gains=only, seconds=seconds / 2)
    if fewest is None:
        return given_up, False, found
    least = round(-fewest.bound + 0.499)
    if given_up <= least:
        return given_up, True, found
    programme.row([(v, 1.0) for v in model.wishes], most=round(-fewest.value))
    better = programme.solve(gap=gap, seconds=seconds / 2)
    return round(-fewest.value), fewest.proven, better or found


def _add_sends(model: ShareModel, kept: Mapping[int, int]) -> None:
    rack, programme = model.rack, model.programme
    for pair, state in enumerate(rack.states):
        for week in range(model.weeks):
            gain = -SEND_COST + (KEPT_GAIN if kept.get(pair) == week else 0.0)
            back = state.away_until
            here = back is None or rack.date(week * DAYS_PER_WEEK) >= back
            send = model.send[pair, week] = programme.variable(gain, 1.0 if here else 0.0)
            sent = model.sent[pair, week] = programme.variable(0.0, np.inf, whole=False)
            before = [(model.sent[pair, week - 1], -1.0)] if week else []
            programme.row([(sent, 1.0), (send, -1.0), *before], least=0.0, most=0.0)
            programme.row(model.away(pair, week), most=1.0)


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
                    gain += 0.0 if near is None else float(near[first] == pair) * 0.4 / rack.days
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
    missed = model.programme.variable(-WISH_COST)
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
    """No wear past what is left on a sole; no sole is sent with much of it left."""
    rack, programme = model.rack, model.programme
    per_week = DAYS_PER_WEEK // model.step
    for pair in range(len(rack.states)):
        left, new = float(rack.left[pair]), float(rack.new[pair])
        least = float(np.ceil(rack.wishes.earliest_share * left))
        last = model.weeks - 1
        for week in range(model.weeks):
            worn = model.worn[pair, week] = programme.variable(0.0, np.inf, whole=False)
            before = [(model.worn[pair, week - 1], -1.0)] if week else []
            now = [(v, -1.0) for v, _ in model.wears(pair, week * per_week, (week + 1) * per_week)]
            programme.row([(worn, 1.0), *before, *now], least=0.0, most=0.0)
        for week in range(model.weeks):
            ahead = -(-(rack.days - week * DAYS_PER_WEEK) // (rack.wishes.rest_days + 1))
            one = min(new, float(ahead))
            sent = model.sent[pair, week]
            programme.row([(model.worn[pair, week], 1.0), (sent, -new)], most=left)
            send = model.send[pair, week]
            earlier = [(model.worn[pair, week - 1], 1.0)] if week else []
            if least > 0:
                programme.row([*earlier, (send, -least)], least=0.0)
            if one < ahead:
                # worn from this week on, if it is sent now: one new sole and what is sent later
                after = [(model.worn[pair, last], 1.0), *((v, -1.0) for v, _ in earlier)]
                later = [(model.sent[pair, last], -new), (sent, new)]
                programme.row([*after, *later, (send, ahead - one)], most=float(ahead))


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
    months: dict[tuple[int, int], list[int]] = {}
    for week in range(model.weeks):
        quarters.setdefault(quarter_of_week(rack, week), []).append(week)
        months.setdefault(month_of_week(rack, week), []).append(week)
    if wishes.budget_minor_per_quarter is not None and rack.price.any():
        for weeks in quarters.values():
            over = programme.variable(-WISH_COST)
            model.wishes.append(over)
            spent = [(model.send[p, k], float(rack.price[p])) for p in pairs for k in weeks]
            total = float(rack.price.sum()) * len(weeks)
            programme.row([*spent, (over, -total)], most=float(wishes.budget_minor_per_quarter))
    for weeks in months.values():
        second = programme.variable(-MONTH_COST)
        further = programme.variable(-2.0 * MONTH_COST, float(len(rack.states)))
        sent = [(model.send[p, k], 1.0) for p in pairs for k in weeks]
        programme.row([*sent, (second, -1.0), (further, -1.0)], most=1.0)


def _add_shares(model: ShareModel) -> None:
    rack, programme = model.rack, model.programme
    for pair, target in enumerate(rack.target):
        counted = programme.variable(1.0, float(target), whole=False)
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
    # every plan's score is a multiple of a half
    bound = np.floor(2.0 * (found.bound + more) + 1e-6) / 2.0
    return Shared(wears, days, sends, float(bound), fewest, proven)
