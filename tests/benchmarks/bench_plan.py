"""Benchmark of the plan: what becomes of racks in a year, by the plan and by send-by alone?

Each owner has a small world of its own, with nothing of the wear model in it. Every sole has a true
life in wear days that nobody knows. Now and then the owner looks at a sole, and a grid of possible
lives gives the wear days that nine of ten reach. One owner wears favourites and sends a pair on the
day when these are used up. The other follows the plan, made anew every six weeks.

Both owners of a seed meet the same fate: the n-th sole of a pair has one true life, and its looks
have one error each. So the difference of the two years is the plan's, not the draw's.

    python -m tests.benchmarks --only plan
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from solespan.forecast.planning import EarlierPlan, PairState, Wishes, make_plan

START = pd.Timestamp("2026-01-05")
DAYS = 364
WEEK = ("business",) * 6 + ("none",)
LOG_SD = 0.22  # spread of true lives about the usual one; invented
CHECK_SD = 0.06  # of the share of a sole that is left, as a look gives it; invented
CHECK_EVERY = 15  # wears between two looks
LEAD_DAYS = 21
OWNERS, QUICK_OWNERS = 40, 2
REPLAN_WEEKS = 6
RISK = 0.10
GRID = np.exp(np.linspace(-3.0, 3.0, 121) * LOG_SD)
FIRST_SEED = 0
MOST_SOLES, MOST_LOOKS = 12, 24


@dataclass
class World:
    """An owner's rack as it is, and as the owner knows it."""

    rng: np.random.Generator
    usual: float
    lives: np.ndarray
    errors: np.ndarray
    true: np.ndarray
    chances: np.ndarray
    worn: np.ndarray
    back: np.ndarray
    last: np.ndarray
    sends: list[tuple[int, int]] = field(default_factory=list)
    looks: dict[tuple[int, int], int] = field(default_factory=dict)
    late: int = 0
    days_past: int = 0
    wears: int = 0
    unused: int = 0

    @classmethod
    def of(cls, seed: int) -> World:
        """Draw an owner: 5 to 8 pairs, each somewhere in the life of its sole."""
        rng = np.random.default_rng(seed)
        pairs = int(rng.integers(5, 9))
        usual = float(rng.uniform(80, 120))
        lives = usual * np.exp(LOG_SD * rng.standard_normal((pairs, MOST_SOLES)))
        errors = CHECK_SD * rng.standard_normal((pairs, MOST_SOLES, MOST_LOOKS))
        true = lives[:, 0].copy()
        world = cls(
            rng,
            usual,
            lives,
            errors,
            true,
            np.zeros((pairs, len(GRID))),
            np.floor(rng.uniform(0.05, 0.85, pairs) * true),
            np.zeros(pairs, int),
            np.full(pairs, -9),
        )
        for pair in range(pairs):
            world._forget(pair)
            world.look(pair)
        return world

    def _sole(self, pair: int) -> int:
        """Number of soles that the pair has had so far, the one it began with left out."""
        return sum(sent == pair for sent, _ in self.sends)

    def _forget(self, pair: int) -> None:
        prior = np.exp(-0.5 * (np.log(GRID) / LOG_SD) ** 2)
        self.chances[pair] = prior / prior.sum()

    def look(self, pair: int) -> None:
        """Look at a sole: the share that is left, with an error."""
        sole = self._sole(pair)
        look = self.looks[pair, sole] = self.looks.get((pair, sole), -1) + 1
        left = 1 - self.worn[pair] / self.true[pair] + self.errors[pair, sole, look]
        expected = 1 - self.worn[pair] / (self.usual * GRID)
        chance = self.chances[pair] * np.exp(-0.5 * ((left - expected) / CHECK_SD) ** 2)
        self.chances[pair] = chance / chance.sum()

    def left(self, pair: int) -> int:
        """Wear days that nine of ten such soles reach."""
        life = self.usual * GRID[np.searchsorted(np.cumsum(self.chances[pair]), RISK)]
        return max(int(life - self.worn[pair]), 0)

    @property
    def new(self) -> int:
        """Wear days that nine of ten new soles reach."""
        return int(self.usual * np.exp(-1.2816 * LOG_SD))

    def wear(self, pair: int, day: int) -> None:
        """Wear a pair for a day; look at it now and then."""
        self.wears += 1
        self.worn[pair] += 1
        self.last[pair] = day
        self.days_past += bool(self.worn[pair] > self.true[pair])
        if self.worn[pair] % CHECK_EVERY == 0:
            self.look(pair)

    def send(self, pair: int, day: int) -> None:
        """Hand a pair over; it is back with a new sole."""
        self.late += bool(self.worn[pair] > self.true[pair])
        self.unused += self.left(pair)
        self.sends.append((pair, day))
        self.back[pair] = day + LEAD_DAYS
        self.worn[pair] = 0
        self.true[pair] = self.lives[pair, self._sole(pair)]
        self._forget(pair)

    def figures(self) -> dict[str, float]:
        """Soles, late ones, wear days past the limit, the fullest quarter, wears, days left."""
        quarters = pd.Series([(START + pd.Timedelta(days=d)).quarter for _, d in self.sends])
        left = sum(self.left(p) for p in range(len(self.true)))
        return {
            "soles": len(self.sends),
            "late": self.late,
            "days_past": self.days_past,
            "fullest": int(quarters.value_counts().max()) if len(quarters) else 0,
            "wears": self.wears,
            "left_when_sent": self.unused,
            "left_at_end": left,
        }


def by_send_by(world: World) -> None:
    """Wear favourites more often; send each pair on the day when its wear days are used up."""
    favour = world.rng.dirichlet(np.full(len(world.true), 4.0))
    for day in range(DAYS):
        for pair in range(len(world.true)):
            if world.back[pair] <= day and world.left(pair) == 0:
                world.send(pair, day)
        if WEEK[day % 7] == "none":
            continue
        can = (world.back <= day) & (day - world.last > 1)
        if can.any():
            chance = favour * can
            world.wear(int(world.rng.choice(len(can), p=chance / chance.sum())), day)


def by_plan(world: World, weeks: int = 52) -> None:
    """Wear and send as the plan says, made anew every six weeks and when a sole surprises."""
    plan, first, earlier = None, 0, None
    for day in range(DAYS):
        if day % 7 == 0:
            due = [p for p in range(len(world.true)) if world.back[p] <= day and not world.left(p)]
            if plan is None or day - first >= 7 * REPLAN_WEEKS or due:
                first, plan = (
                    day,
                    make_plan(
                        states(world, day),
                        Wishes(weeks=weeks, week=WEEK),
                        START + pd.Timedelta(days=day),
                        earlier=earlier,
                    ),
                )
                earlier = EarlierPlan(plan.days, plan.sends)
            for pair in np.flatnonzero(plan.sent[:, (day - first) // 7]).tolist():
                world.send(pair, day)
        worn = -1 if plan is None else int(plan.worn[day - first])
        if worn >= 0 and world.left(worn) > 0:
            world.wear(worn, day)
        elif worn >= 0:
            can = [
                p
                for p in range(len(world.true))
                if world.back[p] <= day and day - world.last[p] > 1 and world.left(p) > 0
            ]
            if can:
                world.wear(max(can, key=world.left), day)


def states(world: World, day: int) -> list[PairState]:
    """What the planner is told."""
    on = START + pd.Timedelta(days=day)
    sent = {pair: START + pd.Timedelta(days=d) for pair, d in world.sends}
    return [
        PairState(
            f"p{pair}",
            world.left(pair),
            world.new,
            last_worn=START + pd.Timedelta(days=int(world.last[pair])),
            away_until=None
            if world.back[pair] <= day
            else START + pd.Timedelta(days=int(world.back[pair])),
            lead_days=LEAD_DAYS,
            price_minor=15_000,
            sent_on=sent.get(pair) if sent.get(pair, on) < on else None,
        )
        for pair in range(len(world.true))
    ]


def owner(seed: int) -> dict[str, dict[str, float]]:
    """Both years of one owner."""
    out = {}
    for name, live in (("send-by alone", by_send_by), ("with the plan", by_plan)):
        world = World.of(seed)
        live(world)
        out[name] = world.figures()
    return out


def run(quick: bool) -> list[dict[str, object]]:
    """Sums of the owners' figures, and the mean of their fullest quarters."""
    rows = []
    for seed in range(FIRST_SEED, FIRST_SEED + (QUICK_OWNERS if quick else OWNERS)):
        rows += [{"owner": name} | figures for name, figures in owner(seed).items()]
    frame = pd.DataFrame(rows).groupby("owner")
    said = frame.sum()
    said["fullest"] = frame["fullest"].mean()
    return [
        {"name": f"{name}: {figure}", "value": float(value), "unit": "", "note": ""}
        for name, figures in said.iterrows()
        for figure, value in figures.items()
    ]
