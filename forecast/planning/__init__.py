"""Planning: which pair on which day, when does each go to the bench, and what does that cost?

`habits`, `planned_use` and `what_if` forecast under a changed habit. `allowance` gives the wear
days that remain at the risk level. `wishes` and `aims` say what the owner wants; `rack` holds
wishes and state as arrays, and `score` says what a plan is worth. `optimum` holds the integer
programmes, `daily` an even draft by days, and `planner` the plan. `plan_explanations` says why.
`resole_options` compares ways to a new sole. `verdict` says what is to be done with a pair: list,
plan, routes and cost all ask it. `care` lists care that is due, and `cost_of_ownership` what a pair
costs.
"""

from solespan.forecast.planning.aims import Aims
from solespan.forecast.planning.allowance import wear_allowance
from solespan.forecast.planning.care import CareRule, due_care
from solespan.forecast.planning.conditions import CONDITION_NAMES, ConditionShare
from solespan.forecast.planning.cost_of_ownership import LifeSettings, cost_of_rack
from solespan.forecast.planning.errors import BadPlan
from solespan.forecast.planning.plan_explanations import day_reasons, pair_reasons
from solespan.forecast.planning.planner import EarlierPlan, RackPlan, make_plan
from solespan.forecast.planning.resole_options import Route, compare_routes, needs_of
from solespan.forecast.planning.verdict import (
    NextSole,
    Verdict,
    decide_verdict,
    next_sole,
    state_of,
)
from solespan.forecast.planning.what_if import Pace, Retire, Trip, what_if
from solespan.forecast.planning.wishes import Occasion, PairState, Wishes

__all__ = [
    "CONDITION_NAMES",
    "Aims",
    "BadPlan",
    "CareRule",
    "ConditionShare",
    "EarlierPlan",
    "LifeSettings",
    "NextSole",
    "Occasion",
    "Pace",
    "PairState",
    "RackPlan",
    "Retire",
    "Route",
    "Trip",
    "Verdict",
    "Wishes",
    "compare_routes",
    "cost_of_rack",
    "day_reasons",
    "decide_verdict",
    "due_care",
    "make_plan",
    "needs_of",
    "next_sole",
    "pair_reasons",
    "state_of",
    "wear_allowance",
    "what_if",
]
