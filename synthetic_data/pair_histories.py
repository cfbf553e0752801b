"""Pair histories.

What happens to every pair, day by day, up to the log's end and on to the horizon?

After the log's end no pair goes to the bench. The same soles are worn on, so that every sole in use
has a true due date. Pairs then at the bench come back as promised and are worn too.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from solespan.synthetic_data.pairs import Floats, Ints, Pairs, Wearers
from solespan.synthetic_data.resoling import Job, Sole, fit_sole, needs_bench, send
from solespan.synthetic_data.truth import Truth
from solespan.synthetic_data.wear_process import (
    driving_mask,
    log_rates,
    new_top_piece,
    packed_mm,
    worn_mm,
)
from solespan.synthetic_data.wearing import Conditions, Habits, draw_conditions, pick_pairs

__all__ = ["Life", "live"]


@dataclass(frozen=True)
class Life:
    """Everything that truly happened.

    `day`, `pair`, `sole`, `conditions`, `thickness` (n, 2, 3) have one entry per wear day, in
    order of day. `renewal_*` have one per new sole or new top piece. `noticed` (day, pair) says
    when an owner saw that a pair must go. `due_day` (pairs, 2, 3) is that of the soles in use at
    the end, -1 = not yet.
    """

    day: Ints
    pair: Ints
    sole: Ints
    conditions: Conditions
    thickness: Floats
    soles: list[Sole]
    jobs: list[Job]
    renewal_day: Ints
    renewal_sole: Ints
    renewal_thickness: Floats
    noticed: list[tuple[int, int]]
    due_day: Ints


class _State:
    """The pairs on the evening of a day."""

    def __init__(self, truth: Truth, wearers: Wearers, pairs: Pairs) -> None:
        n = len(pairs)
        self.truth, self.wearers, self.pairs = truth, wearers, pairs
        self.sole = np.full(n, -1)
        self.material = pairs.material.copy()
        self.thickness = np.zeros((n, 2, 3))
        self.packing = np.zeros((n, 2))
        self.exposure = np.zeros(n)
        self.free_from = pairs.first_day + 1  # fitted one day, worn from the next
        self.limits = np.tile([0.0, truth.toe_limit_mm, truth.heel_limit_mm], (n, 1))
        self.limits[:, 0] = pairs.limit_mm
        self.due = np.full((n, 2, 3), -1)
        self.rate = log_rates(truth, wearers, pairs, self.material)
        self.soles: list[Sole] = []
        self.jobs: list[Job] = []
        self.renewals: list[tuple[int, int, Floats]] = []

    def put_on(self, sole: Sole, *, keep_heel: bool = False) -> None:
        p = sole.pair
        if keep_heel:
            sole.start_mm[:, 2] = self.thickness[p, :, 2]
        else:
            self.due[p, :, 2] = -1
        self.sole[p] = len(self.soles)
        self.soles.append(sole)
        self.thickness[p] = sole.start_mm
        self.packing[p] = sole.packing_mm
        self.exposure[p] = 0.0
        self.due[p, :, :2] = -1
        if sole.material != self.material[p]:
            self.material[p] = sole.material
            self.rate = log_rates(self.truth, self.wearers, self.pairs, self.material)
        self.renewals.append((sole.fitted_day, int(self.sole[p]), sole.start_mm.copy()))

    def resole(self, pair: int, day: int, rng: np.random.Generator) -> None:
        old = self.soles[self.sole[pair]]
        new = fit_sole(self.truth, self.pairs, pair, day, old.number + 1, rng)
        job = send(self.truth, pair, f"{new.cover}_sole", day, rng)
        old.removed_day, new.fitted_day = day, job.finished_day
        self.jobs.append(job)
        self.free_from[pair] = job.returned_day
        self.put_on(new, keep_heel=new.cover == "half")

    def reheel(self, pair: int, day: int, rng: np.random.Generator) -> None:
        job = send(self.truth, pair, "top_piece", day, rng)
        self.jobs.append(job)
        self.free_from[pair] = job.returned_day
        self.thickness[pair, :, 2] = new_top_piece(self.truth, rng)
        self.due[pair, :, 2] = -1
        entry = (job.finished_day, int(self.sole[pair]), self.thickness[pair].copy())
        self.renewals.append(entry)


def live(
    truth: Truth,
    wearers: Wearers,
    pairs: Pairs,
    habits: Habits,
    rate_shift: Floats,
    past: np.random.Generator,
    future: np.random.Generator,
    *,
    log_end: int,
    last_day: int,
) -> Life:
    """Live through days 0 to `last_day`; benches take pairs up to `log_end`.

    `past` is the chance of the days up to `log_end`, `future` that of the days after it.
    `rate_shift` (days, pairs) is what is added to log rates; its last row stands for later days.
    """
    state = _State(truth, wearers, pairs)
    for pair in range(len(pairs)):
        state.put_on(fit_sole(truth, pairs, pair, int(pairs.first_day[pair]), 1, past))
    turning = driving_mask(wearers, pairs)
    rest = wearers.rest_days[pairs.wearer]
    wet_rest = rest * (wearers.n_pairs[pairs.wearer] >= 4)
    rows: list[tuple[Ints, Ints, Conditions, Floats]] = []
    noticed: list[tuple[int, int]] = []
    for day in range(last_day + 1):
        rng = past if day <= log_end else future
        worn = pick_pairs(habits, day, state.free_from <= day, rng)
        conditions = draw_conditions(
            truth, wearers, pairs, worn, habits.wet_chance[day], habits.leather[worn], rng
        )
        _wear(state, day, worn, conditions, turning, rate_shift, rng)
        rows.append((worn, state.sole[worn], conditions, state.thickness[worn]))
        state.free_from[worn] = day + 1 + rest[worn] + wet_rest[worn] * conditions.wet
        if day < log_end:
            noticed += _visit_bench(state, day, worn, rng)
    return _gather(state, rows, noticed)


def _wear(
    state: _State,
    day: int,
    worn: Ints,
    conditions: Conditions,
    turning: Floats,
    rate_shift: Floats,
    rng: np.random.Generator,
) -> None:
    shift = rate_shift[min(day, len(rate_shift) - 1), worn]
    before = state.exposure[worn]
    after = before + conditions.exposure
    loss = packed_mm(state.truth, state.packing[worn], before, after)
    loss += worn_mm(
        state.truth,
        state.rate[worn] + shift[:, None, None],
        conditions.exposure,
        turning[worn],
        conditions.driving_minutes,
        rng,
    )
    left = np.maximum(state.thickness[worn] - loss, 0.0)
    state.thickness[worn] = left
    state.exposure[worn] = after
    due = state.due[worn]
    due[(due < 0) & (left <= state.limits[worn][:, None, :])] = day
    state.due[worn] = due


def _visit_bench(
    state: _State, day: int, worn: Ints, rng: np.random.Generator
) -> list[tuple[int, int]]:
    to_sole, to_heel = needs_bench(
        state.wearers, state.pairs, worn, state.thickness[worn], state.limits[worn], rng
    )
    if not len(to_sole) and not len(to_heel):
        return []
    for pair in worn[to_sole]:
        state.resole(int(pair), day + 1, rng)
    for pair in worn[to_heel]:
        state.reheel(int(pair), day + 1, rng)
    return [(day, int(pair)) for pair in worn[np.r_[to_sole, to_heel]]]


def _gather(
    state: _State,
    rows: list[tuple[Ints, Ints, Conditions, Floats]],
    noticed: list[tuple[int, int]],
) -> Life:
    names = ("hours", "surface", "wet", "driving_minutes", "exposure")
    conditions = Conditions(
        **{n: np.concatenate([getattr(r[2], n) for r in rows]) for n in names},
        others={n: np.concatenate([r[2].others[n] for r in rows]) for n in rows[0][2].others},
    )
    renewals = sorted(state.renewals, key=lambda r: r[0])
    return Life(
        day=np.repeat(np.arange(len(rows)), [len(r[0]) for r in rows]),
        pair=np.concatenate([r[0] for r in rows]),
        sole=np.concatenate([r[1] for r in rows]),
        conditions=conditions,
        thickness=np.concatenate([r[3] for r in rows]),
        soles=state.soles,
        jobs=state.jobs,
        renewal_day=np.array([r[0] for r in renewals]),
        renewal_sole=np.array([r[1] for r in renewals]),
        renewal_thickness=np.stack([r[2] for r in renewals]),
        noticed=noticed,
        due_day=state.due,
    )
