"""Simulated jobs of pairs: what do the pairs that are followed bring over many years?

The pairs are simulated in blocks of neighbouring wearers, here or on other machines.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from scipy.special import ndtr, ndtri

from solespan.forecast.frames import WORKS
from solespan.forecast.panel.wearer_parts import Runner
from solespan.forecast.workload.habits import HabitDraws
from solespan.forecast.workload.hand_overs import LOGS
from solespan.forecast.workload.marginals import LIFE_LOG_SD, DueTable
from solespan.forecast.workload.settings import WorkloadSettings

__all__ = ["SharedDraws", "count_jobs", "jobs_of_pairs", "sole_work"]

_BLOCK_CELLS = 600_000
_ROWS_OF_WEARER = 8
_BLOCK_SEED = 5
_PARTS_OF_WORKER = 4
_MOST_WAITING = 4_000_000
_MOST_SOLES = 6
_SHORTEST_LIFE = 20.0
_TOP = WORKS.index("top_piece")
_PLATE = WORKS.index("toe_plate")


@dataclass(frozen=True)
class SharedDraws:
    """What all pairs have in common in each simulated year."""

    habit: HabitDraws
    shares: np.ndarray
    common: np.ndarray
    horizon: int
    settings: WorkloadSettings


@dataclass(frozen=True)
class _Block:
    """Neighbouring wearers of the due table: number of the block, first row, and rows."""

    number: int
    begin: int
    due: DueTable


def _blocks(due: DueTable, years: int) -> list[_Block]:
    """Blocks of as many wearers each, of about `_BLOCK_CELLS` cells.

    Their borders and numbers follow from the table alone. Each block has a seed of its own, so it
    draws the same on any machine.
    """
    size = max(1, _BLOCK_CELLS // years // _ROWS_OF_WEARER)
    of_row = due.rows["wearer"].to_numpy() // size
    numbers, begins = np.unique(of_row, return_index=True)
    edges = pairwise([*begins.tolist(), len(of_row)])
    return [
        _Block(int(number), begin, due.part(slice(begin, end)))
        for number, (begin, end) in zip(numbers, edges, strict=True)
    ]


def jobs_of_pairs(
    due: DueTable, shared: SharedDraws, runner: Runner | None
) -> tuple[np.ndarray, list[np.ndarray]]:
    """Count the jobs of all pairs by year, day and work; and list those of the listed years."""
    blocks = _blocks(due, shared.settings.years)
    if runner is None:
        told = [_of_blocks(blocks, shared)]
    else:
        many = max(min(len(blocks), _PARTS_OF_WORKER * runner.workers), 1)
        cuts = [len(blocks) * k // many for k in range(many + 1)]
        parts = runner.hold([blocks[a:b] for a, b in pairwise(cuts)])
        told = runner.gather(runner.map(_of_blocks, parts, [runner.share(shared)] * len(parts)))
    counts = told[0][0]
    for more, _ in told[1:]:
        counts += more
    return counts, [listed for _, listed in told]


def _of_blocks(blocks: list[_Block], shared: SharedDraws) -> tuple[np.ndarray, np.ndarray]:
    settings = shared.settings
    counts = np.zeros(settings.years * shared.horizon * len(WORKS), dtype=np.int32)
    waiting, listed = [np.zeros((5, 0), np.int64)], []
    for place, block in enumerate(blocks, 1):
        waiting.append(_of_block(block, shared))
        if place == len(blocks) or sum(w.shape[1] for w in waiting) > _MOST_WAITING:
            found = np.concatenate(waiting, axis=1)
            more = count_jobs(found, shared.horizon, len(counts))
            np.add(counts, more, out=counts, casting="unsafe")
            listed.append(found[:, found[0] < settings.listed_years])
            waiting.clear()
    return counts, np.concatenate(listed or waiting, axis=1)


def count_jobs(found: np.ndarray, horizon: int, cells: int) -> np.ndarray:
    """Count jobs given as rows (year, day, work, row, due_day)."""
    flat = (found[0] * horizon + found[1] - 1) * len(WORKS) + found[2]
    return np.bincount(flat, minlength=cells)


def _of_block(block: _Block, shared: SharedDraws) -> np.ndarray:
    """Jobs of the pairs of one block: rows year, day, work, row, due_day."""
    begin, due, settings = block.begin, block.due, shared.settings
    habit, shares, horizon = shared.habit, shared.shares, shared.horizon
    rng = np.random.default_rng([settings.seed, _BLOCK_SEED, block.number])
    score = _joint_scores(due, shared.common, settings, rng)
    # who may come only past the horizon cannot come before it
    may = score < ndtri(due.share_open(horizon)).astype(np.float32)[:, None]
    row, year = np.nonzero(may & _still_used(due, score.shape[1], rng))
    due_day = due.days_at(row, ndtr(score[row, year].astype(float)))
    rows = due.rows
    overdue = np.where(due_day <= 0, rows["overdue_days"].to_numpy()[row], 0.0)
    owners = _Owners(habit, rows["logs"].to_numpy(bool), rows["early_days"].to_numpy(float))
    # a forecast of an earlier day may name days that are past: nobody comes before tomorrow
    opens = np.maximum(due_day, 0.0) - overdue - owners.early_days[row]
    _, wait = owners.come_in(row, year, np.maximum(-opens, 0.0), rng)
    arrival = np.maximum(opens, 0.0) + wait
    on_sole = (rows["point"] == "ball").to_numpy()[row]
    inside = arrival < horizon
    life = np.maximum(rows["sole_age_days"].to_numpy()[row] + due_day - overdue, _SHORTEST_LIFE)
    soles = np.flatnonzero(on_sole & inside)
    events = _Events(row[soles], year[soles], arrival[soles], due_day[soles], life[soles])
    renewed = np.full(score.shape, np.inf, dtype=np.float32)
    found = []
    for again in range(_MOST_SOLES):
        if not len(events.row):
            break
        if not again:
            renewed[events.row, events.year] = events.arrival
        found.append(_table(events, sole_work(shares, events.year, rng), begin))
        events = _next(events, owners, horizon, settings.turnaround_days, rng)
    # A top piece or toe plate due near the sole's job, or after it, is done with that job. Its life
    # starts again from there.
    small = np.flatnonzero(~on_sole)
    of_sole = renewed[_row_of_ball(due)[row[small]], year[small]]
    along = of_sole <= arrival[small] + settings.along_days
    alone = small[inside[small] & ~along]
    kinds = np.where(rows["point"].to_numpy() == "heel", _TOP, _PLATE)
    events = _Events(row[alone], year[alone], arrival[alone], due_day[alone], life[alone])
    found.append(_table(events, kinds[events.row], begin))
    start = np.where(along, of_sole, arrival[small])
    on = np.flatnonzero(start < horizon)
    events = _Events(row[small[on]], year[small[on]], start[on], start[on], life[small[on]])
    for _ in range(_MOST_SOLES):
        events = _next(events, owners, horizon, settings.turnaround_days, rng)
        if not len(events.row):
            break
        found.append(_table(events, kinds[events.row], begin))
    return np.concatenate(found, axis=1)


@dataclass(frozen=True)
class _Events:
    """Jobs of one round, arrays of one length; `life` is how long the next one will last."""

    row: np.ndarray
    year: np.ndarray
    arrival: np.ndarray
    due_day: np.ndarray
    life: np.ndarray

    def only(self, keep: np.ndarray) -> _Events:
        return _Events(
            self.row[keep], self.year[keep], self.arrival[keep], self.due_day[keep], self.life[keep]
        )


def _next(
    events: _Events, owners: _Owners, horizon: int, turnaround: int, rng: np.random.Generator
) -> _Events:
    """Return the jobs that follow: what is new lives about as long as what it replaced."""
    spread = LIFE_LOG_SD[owners.logs[events.row].astype(int)]
    life = events.life * np.exp(spread * rng.standard_normal(len(events.row)))
    due_day = events.arrival + turnaround + life
    keep = due_day < horizon + owners.early_days[events.row]
    events = replace(events, due_day=due_day, life=life).only(keep)
    came, wait = owners.come_in(events.row, events.year, np.zeros(len(events.year)), rng)
    # nobody brings a pair that is still at the shop
    opens = np.maximum(events.due_day - owners.early_days[events.row], events.arrival + turnaround)
    events = replace(events, arrival=opens + wait)
    return events.only(came & (events.arrival < horizon))


def _joint_scores(
    due: DueTable, common: np.ndarray, settings: WorkloadSettings, rng: np.random.Generator
) -> np.ndarray:
    """Place of each row in its distribution in each year, as a normal score, shape (n, years).

    A Gaussian copula with one factor for all and one for each wearer; float32.
    """
    wearer = due.rows["wearer"].to_numpy()
    wearer = wearer - wearer[0]
    n, years = len(wearer), len(common)
    own = 1.0 - settings.shared_by_all - settings.shared_by_wearer
    of_wearer = rng.standard_normal((wearer[-1] + 1, years), dtype=np.float32)
    score = rng.standard_normal((n, years), dtype=np.float32) * np.float32(np.sqrt(own))
    score += np.float32(np.sqrt(settings.shared_by_wearer)) * of_wearer[wearer]
    score += common.astype(np.float32)
    return score


def _still_used(due: DueTable, years: int, rng: np.random.Generator) -> np.ndarray:
    """Whether the pair of each row is still worn and its owner a customer, shape (n, years).

    The points of one pair share the answer.
    """
    chance = due.rows["in_use"].to_numpy(float)
    if (chance >= 1.0).all():
        return np.ones((1, 1), bool)
    first = np.unique(due.rows["pair_id"].to_numpy(str), return_inverse=True)[1]
    drawn = rng.random((int(first.max()) + 1, years), dtype=np.float32)[first]
    return np.asarray(drawn < chance[:, None].astype(np.float32))


@dataclass(frozen=True)
class _Owners:
    """Owners of the rows of a due table, with their habits of each simulated year."""

    habit: HabitDraws
    logs: np.ndarray
    early_days: np.ndarray

    def come_in(
        self, row: np.ndarray, year: np.ndarray, waited: np.ndarray, rng: np.random.Generator
    ) -> tuple[np.ndarray, np.ndarray]:
        """Whether each pair is brought from the day its owner may come, and days until then.

        The days are inf where it is not. An owner who has waited already is less likely to come.
        """
        habit, kind = self.habit, self.logs[row].astype(int)
        come = habit.come[kind, year]
        center, sd = np.log(habit.median_delay_days[kind, year]), habit.delay_log_sd[kind, year]
        passed = np.zeros(len(year))
        late = np.flatnonzero(waited > 0)
        passed[late] = ndtr((np.log(waited[late]) - center[late]) / sd[late])
        come = come * (1 - passed) / np.maximum(1 - come * passed, 1e-12)
        kept = np.where(kind == LOGS, 1.0, 1.0 - habit.no_show[year])
        came = rng.random(len(year)) < come * kept
        wait = np.full(len(year), np.inf)
        who = np.flatnonzero(came)
        score = rng.standard_normal(len(who))
        late = np.flatnonzero(passed[who] > 0)
        share = passed[who[late]] + (1 - passed[who[late]]) * ndtr(score[late])
        score[late] = ndtri(np.clip(share, 1e-12, 1 - 1e-12))
        delay = np.exp(center[who] + sd[who] * score)
        wait[who] = np.maximum(delay - waited[who], 0.0)
        return came, wait


def sole_work(shares: np.ndarray, year: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Draw the kind of work of jobs on soles, by the summed shares of their years."""
    above = rng.random(len(year))[:, None] > shares[year]
    return np.asarray(np.minimum(above.sum(axis=1), len(WORKS) - 1))


def _row_of_ball(due: DueTable) -> np.ndarray:
    """For each row, the row of the same pair's ball; every pair that has a sole has one."""
    pair = due.rows["pair_id"].to_numpy()
    at_ball = np.flatnonzero((due.rows["point"] == "ball").to_numpy())
    ball_of = dict(zip(pair[at_ball], at_ball, strict=True))
    return np.array([ball_of.get(p, i) for i, p in enumerate(pair)], dtype=int)


def _table(events: _Events, work: np.ndarray, begin: int) -> np.ndarray:
    day = np.floor(events.arrival).astype(np.int64) + 1
    due_day = np.floor(events.due_day).astype(np.int64)
    return np.array([events.year, day, work, events.row + begin, due_day])
