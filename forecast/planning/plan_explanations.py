"""Plan explanations.

Why is a pair proposed or not, over the whole plan and on one day, in sentences?
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from solespan.forecast.planning.errors import BadPlan
from solespan.forecast.planning.planner import RackPlan
from solespan.forecast.planning.rack import DAYS_PER_WEEK

__all__ = ["day_reasons", "pair_reasons"]

# by which a plan may differ from the present pace before it is said
_PACE_SHARE, _PACE_PER_WEEK = 0.25, 0.3


def pair_reasons(plan: RackPlan) -> pd.DataFrame:
    """Say for each pair what the plan does with it and why.

    Returns
    -------
    DataFrame
        A row per pair: pair_id, wears (in the plan), share (wears that were its share),
        wear_days_left (on its sole at the end of the plan, at the risk), reason (sentences).
    """
    rack, wears = plan.rack, plan.wears
    rows = []
    for pair, state in enumerate(rack.states):
        rows.append(
            {
                "pair_id": state.pair_id,
                "wears": int(wears[pair]),
                "share": int(rack.target[pair]),
                "wear_days_left": _left(plan, pair, rack.days),
                "reason": _sentences(plan, pair, int(wears[pair])),
            }
        )
    return pd.DataFrame(rows)


def day_reasons(plan: RackPlan, on: str | pd.Timestamp) -> pd.DataFrame:
    """Say for each pair why it is worn on one day of the plan, or why not.

    Returns
    -------
    DataFrame
        A row per pair: pair_id, worn (flag), reason (one sentence).

    Raises
    ------
    BadPlan
        The day lies outside the plan.
    """
    rack = plan.rack
    day = (pd.Timestamp(on).normalize() - rack.start).days
    if not 0 <= day < rack.days:
        raise BadPlan(
            f"{pd.Timestamp(on).date()} lies outside the plan.",
            field="on",
            accepted=f"{rack.start.date()} to {rack.date(rack.days - 1).date()}",
        )
    rows = [
        {"pair_id": s.pair_id, "worn": bool(plan.worn[day] == i), "reason": _on_day(plan, i, day)}
        for i, s in enumerate(rack.states)
    ]
    return pd.DataFrame(rows)


def _left(plan: RackPlan, pair: int, until: int) -> int:
    """Wear days left at the risk on the evening before a day of the plan."""
    rack = plan.rack
    weeks = [w for w in np.flatnonzero(plan.sent[pair]) if w * DAYS_PER_WEEK < until]
    first = int(weeks[-1]) * DAYS_PER_WEEK if weeks else 0
    start = int(rack.new[pair] if weeks else rack.left[pair])
    return start - int((plan.worn[first:until] == pair).sum())


def _sentences(plan: RackPlan, pair: int, wears: int) -> str:
    rack, state = plan.rack, plan.rack.states[pair]
    weeks = np.flatnonzero(plan.sent[pair])
    said = []
    for week in weeks:
        day = int(week) * DAYS_PER_WEEK
        on = rack.date(day)
        back = on + pd.Timedelta(days=state.lead_days)
        said.append(
            f"Goes to the bench on {on.date()} with {_days(_left(plan, pair, day))} left at the "
            f"risk level, and is due back on {back.date()}."
        )
    share = int(rack.target[pair])
    if wears:
        said.insert(0, f"Proposed for {_days(wears)}; its share is {share}.")
    else:
        said.insert(0, "Not proposed on any day.")
    if wears < share or not wears:
        said.append(_short(plan, pair, wears, share))
    elif not len(weeks):
        left = _left(plan, pair, rack.days)
        said.append(f"It stays on the shelf, with {_days(left)} left at the end of the plan.")
    said.append(_other_pace(plan, pair, wears))
    return " ".join(part for part in said if part)


def _other_pace(plan: RackPlan, pair: int, wears: int) -> str:
    """Say where the plan wears a pair more or less often than its date reckons with."""
    now = plan.rack.states[pair].wears_per_week
    then = DAYS_PER_WEEK * wears / plan.rack.days
    if now <= 0.0 or abs(then - now) <= max(_PACE_SHARE * now, _PACE_PER_WEEK):
        return ""
    more = "more" if then > now else "less"
    return (
        f"The plan wears it {more} often than now, {then:.1f} times a week instead of {now:.1f}: "
        "the date on the list reckons with the latter."
    )


def _short(plan: RackPlan, pair: int, wears: int, share: int) -> str:
    """Say what keeps a pair under its share."""
    rack, state = plan.rack, plan.rack.states[pair]
    if state.away_until is not None and state.away_until > rack.date(rack.days - 1):
        return f"It is at the bench until {state.away_until.date()}, after the plan."
    if not rack.allowed[pair].any():
        code = f" ({state.dress_code})" if state.dress_code else ""
        return f"No day of the plan has its dress code{code} in a month when it may be worn."
    if not share:
        return "The days it fits are shared by pairs that weigh more."
    return _short_of_soles(plan, pair, wears, share)


def _short_of_soles(plan: RackPlan, pair: int, wears: int, share: int) -> str:
    rack, state = plan.rack, plan.rack.states[pair]
    weeks = np.flatnonzero(plan.sent[pair])
    if len(weeks):
        return f"While it is away it misses {_days(share - wears)} of its share."
    if wears >= rack.left[pair] and not rack.sendable[pair]:
        return "Its sole is used up, and no new sole is worth it: retire the pair."
    if wears >= rack.left[pair]:
        reason = (
            f"Its sole has {_days(int(rack.left[pair]))} left at the risk level, and no hand-over "
            "in this plan would pay"
        )
        limits = []
        if rack.wishes.most_away:
            limits.append(f"at most {rack.wishes.most_away} away at once")
        else:
            limits.append("none may be away")
        if rack.wishes.budget_minor_per_quarter is not None:
            limits.append(f"{rack.wishes.budget_minor_per_quarter / 100:.2f} a quarter")
        limits.append(f"{state.lead_days} days away")
        return f"{reason} ({', '.join(limits)}, one sole a month where it can be)."
    return "Rest, reservations and the other pairs' shares leave it no further day."


def _on_day(plan: RackPlan, pair: int, day: int) -> str:
    rack = plan.rack
    if rack.code[day] == "none":
        return "No pair is worn that day."
    if plan.worn[day] == pair:
        if rack.reserved[day] == pair:
            return "It is reserved for that day."
        share = int(rack.target[pair])
        so_far = int((plan.worn[: day + 1] == pair).sum())
        return f"It is rested, fits {rack.code[day]} wear, and this is wear {so_far} of {share}."
    blocked = _away(plan, pair, day) or _unfit(plan, pair, day) or _resting(plan, pair, day)
    if blocked:
        return blocked
    return _passed_over(plan, pair, day)


def _passed_over(plan: RackPlan, pair: int, day: int) -> str:
    rack, chosen = plan.rack, plan.worn[day]
    if _left(plan, pair, day) <= 0 and not rack.sendable[pair]:
        return "Its sole is at the limit at the risk level, and no new sole is worth it."
    if _left(plan, pair, day) <= 0:
        return "Its sole is at the limit at the risk level; it waits for the bench."
    if chosen < 0:
        return "A wear that day would break a later rest, reservation or limit."
    return f"It could be worn; {rack.states[chosen].pair_id} keeps the shares more even."


def _unfit(plan: RackPlan, pair: int, day: int) -> str:
    rack, state = plan.rack, plan.rack.states[pair]
    months = rack.wishes.months.get(state.pair_id)
    if months and rack.date(day).month not in months:
        return "It is kept for other months."
    accepted = rack.wishes.accepted_codes.get(rack.code[day], (rack.code[day],))
    if state.dress_code is not None and state.dress_code not in accepted:
        return f"It is for {state.dress_code} wear; the day is for {rack.code[day]}."
    return ""


def _away(plan: RackPlan, pair: int, day: int) -> str:
    rack, state = plan.rack, plan.rack.states[pair]
    if state.away_until is not None and rack.date(day) < state.away_until:
        return f"It is at the bench until {state.away_until.date()}."
    for week in np.flatnonzero(plan.sent[pair]):
        first = int(week) * DAYS_PER_WEEK
        if first <= day < first + int(rack.lead[pair]) * DAYS_PER_WEEK:
            return f"It is at the bench from {rack.date(first).date()}."
    return ""


def _resting(plan: RackPlan, pair: int, day: int) -> str:
    rack, state = plan.rack, plan.rack.states[pair]
    before = np.flatnonzero(plan.worn[:day] == pair)
    if len(before) and day <= before[-1] + rack.rest_after(int(before[-1])):
        return f"It rests after {rack.date(int(before[-1])).date()}."
    if not len(before) and state.last_worn is not None:
        rest = rack.wishes.rest_days_wet if state.last_wet else rack.wishes.rest_days
        if rack.date(day) <= state.last_worn + pd.Timedelta(days=rest):
            return f"It rests after {state.last_worn.date()}."
    after = np.flatnonzero(plan.worn[day + 1 :] == pair)
    if len(after) and after[0] < rack.rest_after(day):
        return f"It rests for {rack.date(day + 1 + int(after[0])).date()}."
    near = [
        d for d in np.flatnonzero(rack.reserved == pair) if abs(d - day) <= rack.rest_after(day)
    ]
    return f"It is kept for {rack.date(int(near[0])).date()}." if near else ""


def _days(number: int) -> str:
    return f"{number} wear day" if number == 1 else f"{number} wear days"
