"""Workload model: what work comes to a shop's bench in the coming year, and how sure is that?

Frames in, arrays and frames out. `marginals` holds due dates as a table to draw from. `habits` says
whether owners come, `hand_overs` what past years tell of it, and `supposed` who never says that
they do not. `newcomers` counts new pairs,
and `mix` draws kinds of work. `simulate` draws whole years and `summary` adds them up. `levelling`
chooses when each owner is asked.
"""

from solespan.forecast.workload.habits import OUTCOMES, Habits, fit_habits
from solespan.forecast.workload.hand_overs import (
    HandOvers,
    PastHabits,
    hand_overs,
    learn_past_habits,
)
from solespan.forecast.workload.jobs import Booked, Jobs, SimulatedYears
from solespan.forecast.workload.levelling import Levelled, carried_minutes, level
from solespan.forecast.workload.marginals import DueTable, due_table
from solespan.forecast.workload.mix import WorkMix, fit_mix
from solespan.forecast.workload.newcomers import Newcomers, fit_newcomers
from solespan.forecast.workload.settings import WorkloadSettings
from solespan.forecast.workload.simulate import simulate_years
from solespan.forecast.workload.small_works import SmallWorks, fit_small_works
from solespan.forecast.workload.summary import (
    MEASURES,
    QUANTILES,
    WorkTimes,
    measures,
    share_of_weeks_over,
    summarise,
)
from solespan.forecast.workload.supposed import suppose_outcomes
from solespan.forecast.workload.year_level import PastYears, YearLevel, fit_level

__all__ = [
    "MEASURES",
    "OUTCOMES",
    "QUANTILES",
    "Booked",
    "DueTable",
    "Habits",
    "HandOvers",
    "Jobs",
    "Levelled",
    "Newcomers",
    "PastHabits",
    "PastYears",
    "SimulatedYears",
    "SmallWorks",
    "WorkMix",
    "WorkTimes",
    "WorkloadSettings",
    "YearLevel",
    "carried_minutes",
    "due_table",
    "fit_habits",
    "fit_level",
    "fit_mix",
    "fit_newcomers",
    "fit_small_works",
    "hand_overs",
    "learn_past_habits",
    "level",
    "measures",
    "share_of_weeks_over",
    "simulate_years",
    "summarise",
    "suppose_outcomes",
]
