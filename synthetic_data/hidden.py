"""Hidden truth: what is true in a simulated world that no forecaster may see?"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from solespan.forecast.frames import FEET, METHODS, POINTS, WEARING_POINTS
from solespan.synthetic_data.logbook import ids, sole_ids
from solespan.synthetic_data.measuring import Readings
from solespan.synthetic_data.pair_histories import Life
from solespan.synthetic_data.pairs import KINDS, Bools, Floats, Ints, Pairs, Wearers
from solespan.synthetic_data.sim_calendar import Calendar
from solespan.synthetic_data.truth import Truth
from solespan.synthetic_data.wear_process import driving_mask, log_rates
from solespan.synthetic_data.wearing import DRIVES_SHARE

__all__ = ["hidden_frames"]


def hidden_frames(
    truth: Truth,
    wearers: Wearers,
    pairs: Pairs,
    life: Life,
    rate_shift: Floats,
    logged: Bools,
    noted_exposure: Floats,
    readings: Readings,
    calendar: Calendar,
) -> dict[str, pd.DataFrame]:
    """The hidden frames of `Simulated`, by name."""
    ratio = _unlogged_ratio(pairs, life, logged, noted_exposure, calendar.log_end)
    return {
        "hidden_wear": _wear(pairs, life, logged, calendar),
        "hidden_thickness": _thickness(pairs, life, calendar),
        "hidden_due": _due(truth, life, calendar),
        "rates": _rates(truth, wearers, pairs, life, rate_shift, ratio),
        "hidden_wearers": _wearers(wearers),
        "hidden_checks": _checks(pairs, life, readings, calendar),
    }


def _named(names: Any, place: Ints) -> pd.Categorical:
    categories: pd.Index[Any] = pd.Index(list(names))
    return pd.Categorical.from_codes(place, categories=categories)


def _wear(pairs: Pairs, life: Life, logged: Bools, calendar: Calendar) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "pair_id": _named(ids("P", len(pairs)), life.pair),
            "sole_id": _named(sole_ids(life.soles), life.sole),
            "worn_on": calendar.dates(life.day),
            "exposure_wear_days": life.conditions.exposure,
            "hours": life.conditions.hours,
            "wet": life.conditions.wet,
            "driving_minutes": life.conditions.driving_minutes,
            "logged": logged,
        }
    )


def _thickness(pairs: Pairs, life: Life, calendar: Calendar) -> pd.DataFrame:
    """Long form, sorted by sole, foot, point and date."""
    sole = np.r_[life.renewal_sole, life.sole]
    day = np.r_[life.renewal_day, life.day]
    order = np.lexsort((np.arange(len(day)), day, sole))
    values = np.concatenate([life.renewal_thickness, life.thickness])[order].reshape(-1, 6)
    sole, day = sole[order], day[order]
    pair = np.array([s.pair for s in life.soles])[sole]
    n = len(sole)
    place = np.repeat(np.arange(6), n)
    frame = pd.DataFrame(
        {
            "pair_id": _named(ids("P", len(pairs)), np.tile(pair, 6)),
            "sole_id": _named(sole_ids(life.soles), np.tile(sole, 6)),
            "foot": _named(FEET, place // 3),
            "point": _named(WEARING_POINTS, place % 3),
            "on_date": calendar.dates(np.tile(day, 6)),
            "thickness_mm": values.T.ravel(),
        }
    )
    rows = np.argsort(np.tile(sole, 6), kind="stable")
    return frame.iloc[rows].reset_index(drop=True)


def _due(truth: Truth, life: Life, calendar: Calendar) -> pd.DataFrame:
    """Soles on a pair at the log's end; a heel whose new top piece is not yet on is left out."""
    end = calendar.log_end
    unfinished = {j.pair for j in life.jobs if j.work == "top_piece" and j.finished_day > end}
    names = sole_ids(life.soles)
    rows = []
    for name, sole in zip(names, life.soles, strict=True):
        if sole.fitted_day > end or sole.removed_day is not None:
            continue
        limits = {"ball": sole.limit_mm, "toe": truth.toe_limit_mm, "heel": truth.heel_limit_mm}
        for k, point in enumerate(WEARING_POINTS):
            if point == "heel" and sole.pair in unfinished:
                continue
            days = life.due_day[sole.pair, :, k]
            reached = days[days >= 0]
            first = int(reached.min()) if len(reached) else -1
            for foot, day in zip((*FEET, "pair"), (*days, first), strict=True):
                pair = f"P{sole.pair + 1:04d}"
                rows.append((pair, name, foot, point, limits[point], int(day)))
    frame = pd.DataFrame(rows, columns=["pair_id", "sole_id", "foot", "point", "limit_mm", "day"])
    frame["due_on"] = calendar.dates(frame.pop("day").to_numpy(dtype=int))
    return frame


def _unlogged_ratio(
    pairs: Pairs, life: Life, logged: Bools, noted_exposure: Floats, log_end: int
) -> Floats:
    """True over noted exposure of each wearer's history; 1 where nothing was logged."""
    owner = pairs.wearer[life.pair]
    n = int(pairs.wearer.max()) + 1
    past = life.day <= log_end
    true = np.bincount(owner, life.conditions.exposure * past, minlength=n)
    noted = np.bincount(owner, noted_exposure * (logged & past), minlength=n)
    return np.where(noted > 0, true / np.where(noted > 0, noted, 1.0), 1.0)


def _rates(
    truth: Truth, wearers: Wearers, pairs: Pairs, life: Life, rate_shift: Floats, ratio: Floats
) -> pd.DataFrame:
    """Mean wear per true, and per noted, standard wear day, at the wearer's usual driving."""
    pair = np.array([s.pair for s in life.soles])
    hours_driven = wearers.driving_minutes[pairs.wearer] * DRIVES_SHARE / 60.0
    extra = 1.0 + truth.driving_per_hour * driving_mask(wearers, pairs) * hours_driven[:, None]
    rate = np.empty((len(pair), 2, 3))
    for material in {s.material for s in life.soles}:
        of = np.array([s.material == material for s in life.soles])
        whole = np.full(len(pairs), material)
        rate[of] = np.exp(log_rates(truth, wearers, pairs, whole))[pair[of]]
    rate *= extra[pair][..., None] * np.exp(rate_shift[pair])[:, None, None]
    n = len(pair)
    return pd.DataFrame(
        {
            "pair_id": ids("P", len(pairs))[np.repeat(pair, 6)],
            "sole_id": np.repeat(sole_ids(life.soles), 6),
            "foot": np.tile(np.repeat(FEET, 3), n).astype(object),
            "point": np.tile(WEARING_POINTS, 2 * n).astype(object),
            "rate_mm_per_wear_day": rate.ravel(),
            "rate_mm_per_logged_wear_day": (
                rate * ratio[pairs.wearer[pair]][:, None, None]
            ).ravel(),
        }
    )


def _wearers(wearers: Wearers) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "wearer_id": ids("W", len(wearers)),
            "kind": np.array(KINDS, dtype=object)[wearers.kind],
            "effect_log": wearers.effect,
            "asymmetry_log": wearers.asymmetry,
            "gauge_bias_mm": wearers.gauge_bias_mm,
            "thumb_shift_mm": wearers.thumb_shift_mm,
            "forgotten_share": wearers.forgotten_share,
            "notes_ground": wearers.notes_ground,
            "wear_days_per_week": wearers.wear_days_per_week,
            "rest_days": wearers.rest_days,
            "send_offset_mm": wearers.send_offset_mm,
        }
    )


def _checks(pairs: Pairs, life: Life, readings: Readings, calendar: Calendar) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "pair_id": ids("P", len(pairs))[readings.pair],
            "sole_id": sole_ids(life.soles)[readings.sole],
            "checked_on": calendar.dates(readings.day),
            "foot": np.array(FEET, dtype=object)[readings.foot],
            "point": np.array(POINTS, dtype=object)[readings.point],
            "method": np.array(METHODS, dtype=object)[readings.method],
            "true_mm": readings.true_mm,
            "slip": readings.slip,
        }
    )
