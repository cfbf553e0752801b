"""Covariates of wear: which conditions of a wear day change how fast a sole wears?

The register. One entry carries all that is said of a covariate. It holds the column that logs it,
the rule that raises it, the prior of its multiplier, and its words on pages. Every other place
reads this module. A wear day counts as ``base x exp(sum of log multipliers)`` standard wear days.
A flag puts a day into a cell. A linear covariate (`per_unit`) adds its multiplier times the logged
quantity.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from solespan.forecast.columns import Column

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "CONDITIONS",
    "COVARIATES",
    "FLAGS",
    "LOGGED",
    "REGISTER",
    "SURFACES",
    "Condition",
    "Covariate",
    "Frame",
    "Logged",
]

Frame: TypeAlias = "pd.DataFrame | Mapping[str, np.ndarray]"
SURFACES = ("indoor", "pavement", "rough")


@dataclass(frozen=True)
class Logged:
    """A column of `wear_days` that logs a covariate, and its words.

    column : Column
        Name, kind, unit, bounds, words and default; its meaning is the help of `/v1` and files.
    label : str
        What a form calls its field.
    choices : mapping of word to str
        What a form calls each word, where the word itself is no plain name.
    heading : str
        What the table of the last wear days calls it; empty = the table leaves it out.
    flag_words : mapping of flag to str
        How that table writes true and false.
    first : bool
        Whether the form shows it at once, and not under "More about the day".
    """

    column: Column
    label: str
    choices: Mapping[str, str] = field(default_factory=dict)
    heading: str = ""
    flag_words: Mapping[bool, str] = field(default_factory=lambda: {True: "yes", False: "no"})
    first: bool = False


@dataclass(frozen=True)
class Covariate:
    """A condition of a wear day and its effect on wear.

    name : str
        The fit calls its unknown ``log_<name>``.
    meaning : str
        What a day under this condition is, for example "worn on wet ground".
    logged : Logged
        The column that tells it.
    multiplier, log_sd : float
        Prior of the multiplier on exposure: its median and the SD of its log.
    source : str
        Where that prior comes from.
    value : bool or str
        The flag is raised where the column holds this value.
    rule : callable, optional
        Takes `wear_days`, a frame or arrays by column. Gives the flag (bool per row), where `value`
        cannot tell it.
    per_unit : float, optional
        For a linear covariate: units of the column for which the multiplier stands.
    days : str
        What explanations and what-if questions call such days; empty = they leave it out.
    """

    name: str
    meaning: str
    logged: Logged
    multiplier: float
    log_sd: float
    source: str
    value: bool | str = True
    rule: Callable[[Frame], np.ndarray] | None = None
    per_unit: float | None = None
    days: str = ""

    def flag(self, wear_days: Frame) -> np.ndarray:
        """Whether each row of `wear_days` has this condition: bool, shape (rows,)."""
        if self.rule is not None:
            return self.rule(wear_days)
        values: np.ndarray = np.asarray(
            wear_days[self.logged.column.name] == self.value, dtype=bool
        )
        return values


def _from_steps(wear_days: Frame) -> np.ndarray:
    hours, steps = (np.asarray(wear_days[name], dtype=float) for name in ("hours", "steps"))
    return np.asarray(np.isnan(hours) & ~np.isnan(steps))


_STEPS = Logged(
    Column("steps", "integer", "steps taken in the pair", "steps", low=0, high=200_000),
    "Steps in this pair",
)
_SURFACE = Logged(
    Column("surface", "word", "main ground", words=SURFACES, default="pavement"),
    "Main ground",
    choices={"indoor": "indoors", "pavement": "pavement", "rough": "rough ground"},
    heading="Ground",
)
_WET = Logged(
    Column("wet", "flag", "worn on wet ground", default=False),
    "on wet ground",
    heading="Wet or dry",
    flag_words={True: "wet", False: "dry"},
    first=True,
)
_DRIVING = Logged(
    Column("driving_minutes", "number", "time at the wheel", "min", low=0, high=1440),
    "Driving (min)",
)
_CUSTOM = "common practice, no published size for leather"

# The order is that of the model's unknowns and of the form; a new entry goes before `driving`.
REGISTER: tuple[Covariate, ...] = (
    Covariate("wet", "worn on wet ground", _WET, 1.7, 0.25, _CUSTOM, days="wet days"),
    Covariate(
        "indoor", "worn indoors", _SURFACE, 0.5, 0.30, _CUSTOM, value="indoor", days="indoor days"
    ),
    Covariate(
        "rough",
        "worn on rough ground",
        _SURFACE,
        1.5,
        0.25,
        _CUSTOM,
        value="rough",
        days="days on rough ground",
    ),
    Covariate(
        "steps",
        "counted from steps, no hours given",
        _STEPS,
        1.0,
        0.30,
        _CUSTOM,
        rule=_from_steps,
    ),
    Covariate("driving", "time at the wheel", _DRIVING, 1.0, 0.05, _CUSTOM, per_unit=60.0),
)
FLAGS: dict[str, Covariate] = {c.name: c for c in REGISTER if c.per_unit is None}
COVARIATES: tuple[str, ...] = (*FLAGS, *(c.name for c in REGISTER if c.per_unit is not None))

# Files have always had these four columns in this order; columns of new covariates follow them.
_FIRST_IN_FILES = (_STEPS, _SURFACE, _WET, _DRIVING)
LOGGED: tuple[Logged, ...] = (
    *_FIRST_IN_FILES,
    *{c.logged.column.name: c.logged for c in REGISTER if c.logged not in _FIRST_IN_FILES}.values(),
)


@dataclass(frozen=True)
class Condition:
    """What others than the model may know of a flag: where it is raised, and its usual size."""

    name: str
    column: str
    value: bool | str
    multiplier: float


CONDITIONS: tuple[Condition, ...] = tuple(
    Condition(c.name, c.logged.column.name, c.value, c.multiplier)
    for c in FLAGS.values()
    if c.rule is None
)
