"""Rest constraints: which rows of the programme let a pair rest after it was worn?"""

from __future__ import annotations

from solespan.forecast.planning.optimum.share_model import ShareModel
from solespan.forecast.planning.rack import DAYS_PER_WEEK

__all__ = ["add_rest"]


def add_rest(model: ShareModel) -> None:
    """Between promises, and between wears: counted by weeks, or day by day."""
    _add_rest_between_promises(model)
    for pair in range(len(model.rack.states)):
        if model.step == DAYS_PER_WEEK:
            _count_rest(model, pair)
        else:
            _rest_by_days(model, pair)


def _add_rest_between_promises(model: ShareModel) -> None:
    """One pair cannot keep two reservations closer than its rest."""
    rack = model.rack
    for day, worn in model.promised.items():
        for later in range(day + 1, min(day + rack.rest_after(day) + 1, rack.days)):
            if later in model.promised and rack.reserved[later] == rack.reserved[day]:
                model.programme.row([(worn, 1.0), (model.promised[later], 1.0)], most=1.0)


def _count_rest(model: ShareModel, pair: int) -> None:
    """In one week and in two, no more wears than days with rest between."""
    rest = model.rack.wishes.rest_days
    for span in (1, 2):
        most = -(-span * DAYS_PER_WEEK // (rest + 1))
        for week in range(model.weeks - span + 1):
            model.programme.row(model.wears(pair, week, week + span), most=float(most))


def _rest_by_days(model: ShareModel, pair: int) -> None:
    """Among a wear and the days of rest after it there is one wear."""
    rack, rest = model.rack, model.rack.wishes.rest_days
    for day in range(rack.days):
        model.programme.row(model.wears(pair, day, day + rest + 1), most=1.0)
        for later in range(day + rest + 1, min(day + rack.rest_after(day) + 1, rack.days)):
            both = model.wears(pair, day, day + 1) + model.wears(pair, later, later + 1)
            model.programme.row(both, most=1.0)
