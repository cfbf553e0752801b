"""Parameter layout.

Through which column of the linearised observation does each unknown act, and with what weight?

An observation sees its path through a few columns, the interface. They are start, packing, log
rate, gauge bias, thumb shift, removal threshold, silent wear, and one per covariate. Every unknown
acts through exactly one of them, with a weight that is a constant of the path. The pair's effect
has weight 1 on the log rate, the right-minus-left contrast +-1/2.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from solespan.forecast.covariates import COVARIATES, REGISTER
from solespan.forecast.frames import DRESS_CODES, MATERIALS
from solespan.forecast.panel.panel import SENT, THUMB, Panel
from solespan.forecast.panel.rate_ages import STEP_YEARS, STEPS
from solespan.forecast.priors import (
    ASSUMED_SPREAD,
    MATERIAL_LOG_SD,
    MATERIAL_RATE,
    POPULATION_SD,
    SPREADS,
    USUAL_LIMIT_MM,
)

__all__ = [
    "BENT",
    "INTERFACE",
    "PAST",
    "PATH",
    "SILENT",
    "SPREAD_OF",
    "TREND",
    "Belief",
    "Coordinates",
    "Facts",
    "coordinates",
    "facts_of",
    "learnable",
]

_PAST = (*(f"past_{k}" for k in range(1, STEPS + 1)), "trend")
INTERFACE = (
    "start", "packing", "log_rate", "gauge", "thumb", "sending", "silent", *_PAST, *COVARIATES
)  # fmt: skip
SILENT = INTERFACE.index("silent")
PAST = slice(SILENT + 1, SILENT + 1 + len(_PAST))  # steps back of the log rate, and its trend
TREND = PAST.stop - 1
BENT = (INTERFACE.index("log_rate"), *range(SILENT, len(INTERFACE)))  # act through a product
_COLUMN = {name: i for i, name in enumerate(INTERFACE)}
_FEW_PATHS = 200  # below this one product is faster than a sum for each unknown
PATH = ("start", "packing", "shoe")
SOLE = ("sole_start", "sole", "sole_pace")
PAIR = ("pair", "pair_foot", "gap", "pace", *(f"pair_{p}" for p in _PAST))
WEARER = (
    "wearer", "wearer_foot", "wearer_toe", "wearer_heel", "gauge", "thumb", "wearer_pace", "sender",
    *(f"wearer_{p}" for p in _PAST),
)  # fmt: skip
# the spread of each random effect, where it is not the effect's own name
SPREAD_OF = {
    "wearer_toe": "wearer_point",
    "wearer_heel": "wearer_point",
    **{f"{of}_{p}": f"{of}_drift" for of in ("wearer", "pair") for p in _PAST[:-1]},
}


@dataclass(frozen=True)
class Belief:
    """What some wearers told of the population: names, mean deviation (p,), covariance (p, p)."""

    names: tuple[str, ...]
    mean: np.ndarray
    cov: np.ndarray


@dataclass(frozen=True)
class Coordinates:
    """The unknowns of a panel: names, interface column and weight per path.

    names : tuple of str
        Unknowns of paths, soles, pairs, wearers, then of the population.
    levels : tuple of tuple of str
        The names by level (paths, soles, pairs, wearers); only those that the panel can inform.
    active : ndarray of int
        Interface columns that are not zero throughout the panel.
    column : ndarray of int, shape (unknowns,)
        Interface column through which each acts.
    weight : ndarray, shape (unknowns, paths)
    prior_mean, prior_sd : ndarray, shape (population unknowns,)
    told : Belief, optional
        What other wearers told of the population, in the place of its priors.
    """

    names: tuple[str, ...]
    levels: tuple[tuple[str, ...], ...]
    active: np.ndarray
    column: np.ndarray
    weight: np.ndarray
    prior_mean: np.ndarray
    prior_sd: np.ndarray
    population: tuple[str, ...] = field(default=())
    told: Belief | None = None

    @cached_property
    def before(self) -> tuple[np.ndarray, np.ndarray]:
        """Mean deviation and precision of the population before the panel: (p,), (p, p)."""
        deviation, cov = np.zeros(len(self.population)), np.diag(np.square(self.prior_sd))
        if self.told is not None:
            place = [self.population.index(name) for name in self.told.names]
            deviation[place] = self.told.mean
            cov[np.ix_(place, place)] = self.told.cov
        return deviation, np.linalg.inv(cov)

    @cached_property
    def spreads(self) -> tuple[str, ...]:
        """Spreads that some unknown of these levels has."""
        names = {SPREAD_OF.get(n, n) for level in self.levels for n in level} | {"shoe_other"}
        return tuple(name for name in SPREADS if name in names)

    @cached_property
    def acts(self) -> np.ndarray:
        """1 where an unknown acts through an interface column, shape (12, unknowns)."""
        return np.asarray(np.arange(len(INTERFACE))[:, None] == self.column, float)

    def interface(self, values: np.ndarray, skip: int = 0) -> np.ndarray:
        """Interface values that unknowns add up to.

        Parameters
        ----------
        values : ndarray, shape (unknowns - skip, paths)
        skip : int
            How many of the first unknowns are left out.

        Returns
        -------
        ndarray, shape (12, paths)
        """
        return self.sums(self.weight[skip:], values, skip)

    def sums(self, weight: np.ndarray, values: np.ndarray, skip: int) -> np.ndarray:
        """Sums of weighted values by interface column, for some paths only."""
        if values.shape[1] < _FEW_PATHS:
            return np.asarray(self.acts[:, skip:] @ (weight * values))
        out = np.zeros((len(INTERFACE), values.shape[1]))
        for column, w, value in zip(self.column[skip:], weight, values, strict=True):
            out[column] += w * value
        return out


@dataclass(frozen=True)
class Facts:
    """What a panel can inform: interface columns, random effects, the population's unknowns."""

    active: frozenset[str]
    random: frozenset[str]
    population: frozenset[str]

    def __or__(self, other: Facts) -> Facts:
        """What two parts of a panel can inform together."""
        return Facts(
            self.active | other.active,
            self.random | other.random,
            self.population | other.population,
        )


def facts_of(panel: Panel) -> Facts:
    """What this panel can inform."""
    local, every = _effects(panel)
    active = frozenset(_active(panel))
    return Facts(
        active,
        frozenset(n for n, (c, w) in local.items() if c in active and w.any()),
        frozenset(_needed(every, active)),
    )


def learnable(panel: Panel) -> Facts:
    """What a fit can learn from this panel.

    Where soles come off is not learnt from soles that are all still on: their owners may simply
    wait longer and longer.
    """
    facts = facts_of(panel)
    if (panel.obs_kind == SENT).any():
        return facts
    return replace(facts, population=facts.population - {"sending_mm"})


def coordinates(
    panel: Panel,
    population: tuple[str, ...] | None = None,
    facts: Facts | None = None,
    told: Belief | None = None,
) -> Coordinates:
    """Lay out the unknowns of a panel.

    Parameters
    ----------
    panel : Panel
    population : tuple of str, optional
        Names of the population's unknowns to keep, in order (of an earlier fit). The default is
        all that the panel can inform or needs.
    facts : Facts, optional
        Of the whole panel that this one is a part of; default: its own.
    told : Belief, optional
        What other wearers told of the population; its names come first.
    """
    local, every = _effects(panel)
    facts = facts or facts_of(panel)
    if population is None:
        first = told.names if told is not None else ()
        population = (*first, *(n for n in every if n in facts.population and n not in first))

    def informed(names: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(n for n in names if n in facts.random)

    levels = (PATH, informed(SOLE), informed(PAIR), informed(WEARER))
    layout = [
        *((n, *local[n]) for level in levels for n in level),
        *((n, *every[n]) for n in population),
    ]
    priors = [population_prior(n) for n in population]
    # an unknown that earlier or other logs told of keeps its column, though nothing here sees it
    active = facts.active | {column for _, column, _ in layout}
    return Coordinates(
        names=tuple(n for n, _, _ in layout),
        levels=levels,
        active=np.array([_COLUMN[c] for c in INTERFACE if c in active]),
        column=np.array([_COLUMN[c] for _, c, _ in layout]),
        weight=np.array([w for _, _, w in layout]),
        prior_mean=np.array([m for m, _ in priors]),
        prior_sd=np.array([s for _, s in priors]),
        population=population,
        told=told,
    )


Effects = dict[str, tuple[str, np.ndarray]]


def _effects(panel: Panel) -> tuple[Effects, Effects]:
    """Interface column and weight by path of every random effect, and of the population's."""
    point, foot = panel.path_point, panel.path_foot
    side = foot - 0.5
    one = np.ones(len(point))
    heel = (point == 2).astype(float)
    toe = (point == 1).astype(float)
    sole = 1.0 - heel  # the heel's top piece is a piece of its own, whatever the sole is made of
    weights: dict[str, tuple[str, np.ndarray]] = {
        "wearer": ("log_rate", one),
        "wearer_foot": ("log_rate", side),
        "wearer_toe": ("log_rate", toe),
        "wearer_heel": ("log_rate", heel),
        "gauge": ("gauge", one),
        "thumb": ("thumb", one),
    }
    packs = sole * panel.packs
    own = sole * np.where(panel.assumed, ASSUMED_SPREAD, 1.0)
    unlogged = panel.unlogged[panel.path_pair].astype(float)
    logged = 1.0 - unlogged
    local = {
        "start": ("start", one),
        "packing": ("packing", packs),
        "shoe": ("log_rate", one),
        "sole_start": ("start", own),
        "sole": ("log_rate", own),
        "pair": ("log_rate", one),
        "pair_foot": ("log_rate", side),
        "gap": ("silent", logged * panel.gap_weight[panel.path_pair]),
        "sole_pace": ("silent", unlogged),
        "pace": ("silent", unlogged),
        "wearer_pace": ("silent", unlogged),
        "sender": ("sending", unlogged),
    }
    moving = panel.moving[panel.path_pair]
    for name, years in zip(_PAST, (*STEP_YEARS, 1.0), strict=True):
        local[f"pair_{name}"] = weights[f"wearer_{name}"] = (name, moving * np.sqrt(years))
    every: dict[str, tuple[str, np.ndarray]] = {"level": ("log_rate", sole)}
    for code, word in enumerate(MATERIALS):
        every[f"material_{word}"] = ("log_rate", sole * (panel.material == code))
    every["toe"] = ("log_rate", toe)
    every["heel"] = ("log_rate", heel)
    for code, word in enumerate(("ball", "toe", "heel")):
        every[f"drive_{word}"] = ("log_rate", panel.drives * (point == code))
    for name in COVARIATES:
        every[f"log_{name}"] = (name, one)
    every["start_mm"] = ("start", 1.0 - heel)
    every["packing_mm"] = ("packing", packs)
    every["thumb_shift_mm"] = ("thumb", one)
    every["thumb_limit"] = ("thumb", USUAL_LIMIT_MM - panel.limit_mm)
    every["sending_mm"] = ("sending", logged)
    every["gap_share"] = ("silent", logged)
    every["trend"] = ("trend", moving)
    every["pace"] = ("silent", unlogged)
    for code, word in enumerate(DRESS_CODES, start=1):
        worn_for = panel.pair_group[panel.path_pair] == code
        every[f"pace_{word}"] = ("silent", unlogged * worn_for)
    return {**weights, **local}, every


def population_prior(name: str) -> tuple[float, float]:
    """Prior mean and SD of one unknown of the population."""
    if name.startswith("material_"):
        return float(np.log(MATERIAL_RATE[name.removeprefix("material_")])), MATERIAL_LOG_SD
    if name.startswith("log_"):
        covariate = next(c for c in REGISTER if name == f"log_{c.name}")
        return float(np.log(covariate.multiplier)), covariate.log_sd
    return POPULATION_SD[name]


def _active(panel: Panel) -> set[str]:
    """Interface columns that some observation or path end can see."""
    flags = panel.exposure.flags
    seen = {name: bool(flags[:, i].any()) for i, name in enumerate(COVARIATES[:-1])}
    seen["driving"] = bool((panel.exposure.driving > 0).any())
    seen["silent"] = bool((panel.exposure.silent > 0).any())
    seen["gauge"] = bool((panel.obs_kind < THUMB).any())
    seen["thumb"] = bool((panel.obs_kind == THUMB).any())
    seen["sending"] = bool((panel.obs_kind >= SENT).any())
    moves = bool(panel.moving.any())
    older = np.flatnonzero(panel.target_older.any(axis=0))
    seen |= {p: moves and k in older for k, p in enumerate(_PAST)}
    seen["trend"] = moves and len(older) > 0
    return {name for name in INTERFACE if seen.get(name, True)}


def _needed(every: Effects, active: frozenset[str]) -> tuple[str, ...]:
    always = {"level", "drive_ball"}
    return tuple(
        n for n, (c, w) in every.items() if c in active and (n in always or bool(np.any(w != 0)))
    )
