"""Simulated log.

What of a life stands in the log: the six interchange tables up to the log's end?
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from solespan.forecast.frames import (
    CONSTRUCTIONS,
    DRESS_CODES,
    DRIVING_FEET,
    FEET,
    GRADES,
    MATERIALS,
    METHODS,
    POINTS,
    SURFACES,
    TABLES,
)
from solespan.synthetic_data.conditions import factor_of_others
from solespan.synthetic_data.measuring import Readings
from solespan.synthetic_data.pair_histories import Life
from solespan.synthetic_data.pairs import HOURS_STYLES, Bools, Floats, Pairs, Wearers
from solespan.synthetic_data.resoling import Job, Sole
from solespan.synthetic_data.sim_calendar import Calendar
from solespan.synthetic_data.truth import Truth
from solespan.synthetic_data.wear_process import is_leather

__all__ = [
    "Names",
    "ids",
    "job_table",
    "layer_table",
    "logged_frames",
    "pair_table",
    "sole_ids",
    "sole_table",
    "table",
    "wearer_table",
    "words",
]

ZONES = ("Europe/Lisbon", "Europe/Paris", "Europe/Prague", "Europe/Helsinki")
CURRENCY = "EUR"


@dataclass(frozen=True)
class Names:
    """Invented names of the wearers and labels of the pairs, in their order."""

    wearers: list[str]
    pairs: list[str]


def ids(letter: str, n: int) -> np.ndarray:
    """Identifiers such as P0001, one per place."""
    return np.array([f"{letter}{i + 1:04d}" for i in range(n)], dtype=object)


def sole_ids(soles: list[Sole]) -> np.ndarray:
    """Identifiers such as P0001-S2: the pair's second sole."""
    return np.array([f"P{s.pair + 1:04d}-S{s.number}" for s in soles], dtype=object)


def words(accepted: tuple[str, ...], place: np.ndarray) -> np.ndarray:
    """Words by their place; -1 gives None."""
    told: np.ndarray = np.array([*accepted, None], dtype=object)[place]
    return told


def table(name: str, columns: dict[str, object]) -> pd.DataFrame:
    """A frame with every stored column of the contract in file order, sorted by key.

    A column that is left out holds its default, or nothing.
    """
    frame = pd.DataFrame(columns)
    for column in TABLES[name].stored:
        if column.name not in frame:
            if column.kind == "date":
                frame[column.name] = pd.Series(pd.NaT, frame.index, dtype="datetime64[s]")
                continue
            empty = np.nan if column.kind == "number" else None
            filled: Any = empty if column.default is None else column.default
            frame[column.name] = filled
    order = [c.name for c in TABLES[name].stored]
    return frame[order].sort_values(list(TABLES[name].key), kind="stable", ignore_index=True)


def logged_frames(
    truth: Truth,
    wearers: Wearers,
    pairs: Pairs,
    life: Life,
    logged: Bools,
    readings: Readings,
    names: Names,
    calendar: Calendar,
    rng: np.random.Generator,
) -> tuple[dict[str, pd.DataFrame], Floats]:
    """The tables, and what each wear day would count by what an owner writes of it."""
    of_wearers = wearer_table(wearers, names, rng)
    of_pairs = pair_table(pairs, names, calendar, rng)
    soles = sole_table(life.soles, calendar, rng)
    notes, exposure = _notes(truth, wearers, pairs, life, rng)  # last: its draws grow with horizon
    worn = {
        "pair_id": ids("P", len(pairs))[life.pair[logged]],
        "worn_on": calendar.dates(life.day[logged]),
        **{name: column[logged] for name, column in notes.items()},
    }
    frames = {
        "wearers": of_wearers,
        "pairs": of_pairs,
        "soles": soles,
        "wear_days": table("wear_days", worn),
        "checks": _checks(readings, len(pairs), calendar),
        "bench_jobs": job_table(life.jobs, calendar),
        "layers": layer_table(of_pairs),
    }
    return frames, exposure


def layer_table(pairs: pd.DataFrame) -> pd.DataFrame:
    """The table `layers`: what a bench writes of a sturdy pair that it has opened."""
    sturdy = pairs["construction"].isin(["hand_welted", "stitchdown"])
    opened = pairs.loc[sturdy, "pair_id"].to_list()
    seen = (("insole", "leather", 5.0), ("shank", "wood", np.nan))
    rows = [
        {"layer_id": f"{pair}-{part}", "pair_id": pair, "layer": part, "material": material,
         "nominal_thickness_mm": mm}
        for pair in opened
        for part, material, mm in seen
    ]  # fmt: skip
    columns = ["layer_id", "pair_id", "layer", "material", "nominal_thickness_mm"]
    given = pd.DataFrame(rows, columns=columns)
    return table("layers", {name: given[name] for name in columns})


def wearer_table(wearers: Wearers, names: Names, rng: np.random.Generator) -> pd.DataFrame:
    """The table `wearers`; one in twenty does not say which foot drives."""
    n = len(wearers)
    feet = np.array(["none", "left", "right"], dtype=object)[wearers.driving_foot]
    feet[rng.random(n) < 0.05] = None
    assert set(feet) <= {*DRIVING_FEET, None}  # noqa: S101 - words of the contract
    mails = [
        f"{name.split()[0].lower()}{i + 1}@example.org" for i, name in enumerate(names.wearers)
    ]
    return table(
        "wearers",
        {
            "wearer_id": ids("W", n),
            "name": names.wearers,
            "time_zone": rng.choice(ZONES, n).astype(object),
            "driving_foot": feet,
            "email": mails,
        },
    )


def pair_table(
    pairs: Pairs, names: Names, calendar: Calendar, rng: np.random.Generator
) -> pd.DataFrame:
    """The table `pairs`; a negative first day is not known."""
    n = len(pairs)
    size = (rng.integers(78, 93, pairs.wearer.max() + 1) / 2.0)[pairs.wearer]
    return table(
        "pairs",
        {
            "pair_id": ids("P", n),
            "wearer_id": ids("W", int(pairs.wearer.max()) + 1)[pairs.wearer],
            "label": names.pairs,
            "construction": words(CONSTRUCTIONS, pairs.construction),
            "dress_code": words(DRESS_CODES, pairs.dress_code),
            "size_eu": size,
            "acquired_on": calendar.dates(pairs.first_day),
            "price_minor": rng.integers(20, 80, n) * 1000.0,
            "currency": np.full(n, CURRENCY, dtype=object),
            "earlier_resoles": pairs.earlier_resoles.astype(float),
        },
    )


def sole_table(soles: list[Sole], calendar: Calendar, rng: np.random.Generator) -> pd.DataFrame:
    """The table `soles` of those fitted by the log's end; a later removal is not written."""
    channel = rng.choice(np.array(["closed", "open", "none"], dtype=object), len(soles))
    leather = is_leather(np.array([s.material for s in soles]))
    channel[~leather] = "none"
    end = calendar.log_end
    known = [i for i, s in enumerate(soles) if s.fitted_day <= end]
    soles = [soles[i] for i in known]
    removed = [s.removed_day if s.removed_day is not None else end + 1 for s in soles]
    return table(
        "soles",
        {
            "sole_id": sole_ids(soles),
            "pair_id": [f"P{s.pair + 1:04d}" for s in soles],
            "fitted_on": calendar.dates(np.array([s.fitted_day for s in soles])),
            "material": [MATERIALS[s.material] for s in soles],
            "nominal_thickness_mm": [s.nominal_mm for s in soles],
            "limit_mm": [s.limit_mm for s in soles],
            "cover": [s.cover for s in soles],
            "channel": channel[known],
            "removed_on": calendar.dates(np.where(np.array(removed) <= end, removed, -1)),
        },
    )


def _notes(
    truth: Truth, wearers: Wearers, pairs: Pairs, life: Life, rng: np.random.Generator
) -> tuple[dict[str, np.ndarray], Floats]:
    """What owners would write of every wear day, and the exposure that follows from it."""
    owner = pairs.wearer[life.pair]
    n = len(owner)
    style = wearers.hours_style[owner]
    c = life.conditions
    hours = np.clip(np.round(c.hours * 2) / 2, 0.5, 24.0)
    hours[(style != HOURS_STYLES.index("hours")) | (hours == 8.0)] = np.nan
    steps = truth.steps_per_wear_day * c.hours / 8.0 * rng.lognormal(0.0, truth.sd_steps, n)
    steps = np.where(style == HOURS_STYLES.index("steps"), np.round(steps), np.nan)
    notes = wearers.notes_ground[owner]
    surface = np.where(notes, c.surface, SURFACES.index("pavement"))
    wet = c.wet & notes
    minutes = np.where(c.driving_minutes > 0, np.maximum(np.round(c.driving_minutes / 5) * 5, 5), 0)
    tells = notes & (wearers.driving_foot[owner] > 0)
    counted = np.where(
        np.isnan(steps), np.nan_to_num(hours, nan=8.0) / 8.0, steps / truth.steps_per_wear_day
    )
    counted *= np.array([truth.indoor_factor, 1.0, truth.rough_factor])[surface]
    counted *= np.where(wet, truth.wet_factor, 1.0)
    others = {name: told.copy() for name, told in c.others.items()}
    for name, told in others.items():
        told[~notes] = TABLES["wear_days"].by_name[name].default
    counted *= factor_of_others(truth, others, n)
    return {
        "hours": hours,
        "steps": steps,
        "surface": words(SURFACES, surface),
        "wet": wet,
        "driving_minutes": np.where(tells, minutes, np.nan),
        **others,
    }, counted


def _checks(readings: Readings, n_pairs: int, calendar: Calendar) -> pd.DataFrame:
    return table(
        "checks",
        {
            "pair_id": ids("P", n_pairs)[readings.pair],
            "checked_on": calendar.dates(readings.day),
            "foot": words(FEET, readings.foot),
            "point": words(POINTS, readings.point),
            "method": words(METHODS, readings.method),
            "value_mm": readings.value_mm,
            "grade": words(GRADES, readings.grade),
        },
    )


def job_table(jobs: list[Job], calendar: Calendar) -> pd.DataFrame:
    """The table `bench_jobs` of those received by the log's end."""
    jobs = [j for j in jobs if j.received_day <= calendar.log_end]
    done = np.array([j.finished_day <= calendar.log_end for j in jobs], bool)
    back = np.array([j.returned_day for j in jobs], int)
    finished = np.array([j.finished_day for j in jobs], int)
    return table(
        "bench_jobs",
        {
            "job_id": ids("J", len(jobs)),
            "pair_id": np.array([f"P{j.pair + 1:04d}" for j in jobs], dtype=object),
            "work": np.array([j.work for j in jobs], dtype=object),
            "received_on": calendar.dates(np.array([j.received_day for j in jobs], int)),
            "promised_on": calendar.dates(np.array([j.promised_day for j in jobs], int)),
            "finished_on": calendar.dates(np.where(done, finished, -1)),
            "returned_on": calendar.dates(np.where(back <= calendar.log_end, back, -1)),
            "bench_minutes": np.where(done, [j.bench_minutes for j in jobs], np.nan),
            "price_minor": np.where(done, [float(j.price_minor) for j in jobs], np.nan),
            "currency": np.full(len(jobs), CURRENCY, dtype=object),
        },
    )
