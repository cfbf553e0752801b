"""Register of covariates.

Which conditions of a wear day change how fast the sole wears, and how are they counted?

The register: one entry a covariate. A wear day counts as ``base x exp(sum of log multipliers)``
standard wear days. Flags put a day into a cell, `driving` is a small linear term in hours at the
wheel. To add a flag covariate, add one entry here, its prior in `forecast.priors` and its effect in
`synthetic_data.truth`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from solespan.forecast.frames import STANDARD_HOURS_PER_WEAR_DAY
from solespan.forecast.priors import STEPS_PER_STANDARD_WEAR_DAY

__all__ = ["COVARIATES", "FLAGS", "Covariate", "base_exposure", "cells", "flag_table"]


@dataclass(frozen=True)
class Covariate:
    """A condition of a wear day: its flag (bool per row of wear_days) and what it stands for."""

    name: str
    flag: Callable[[pd.DataFrame], np.ndarray]
    meaning: str


def _on(surface: str) -> Callable[[pd.DataFrame], np.ndarray]:
    return lambda d: np.asarray(d["surface"].to_numpy(object) == surface)


def _from_steps(days: pd.DataFrame) -> np.ndarray:
    unknown = np.isnan(days["hours"].to_numpy(float))
    return np.asarray(unknown & ~np.isnan(days["steps"].to_numpy(float)))


FLAGS: dict[str, Covariate] = {
    c.name: c
    for c in (
        Covariate("wet", lambda d: np.asarray(d["wet"], dtype=bool), "worn on wet ground"),
        Covariate("indoor", _on("indoor"), "worn indoors"),
        Covariate("rough", _on("rough"), "worn on rough ground"),
        Covariate("steps", _from_steps, "counted from steps, no hours given"),
    )
}
COVARIATES: tuple[str, ...] = (*FLAGS, "driving")


def base_exposure(days: pd.DataFrame) -> np.ndarray:
    """Standard wear days before any multiplier: hours / 8, or steps / 7000, or 1 if neither.

    Parameters
    ----------
    days : DataFrame
        Rows of `wear_days`.

    Returns
    -------
    ndarray, shape (rows,)
        Standard wear days on dry pavement.
    """
    hours = days["hours"].to_numpy(float)
    steps = days["steps"].to_numpy(float)
    from_steps = np.where(np.isnan(steps), 1.0, steps / STEPS_PER_STANDARD_WEAR_DAY)
    return np.where(np.isnan(hours), from_steps, hours / STANDARD_HOURS_PER_WEAR_DAY)


def cells(days: pd.DataFrame) -> np.ndarray:
    """Put each wear day into the cell of its flags: index into `flag_table`, shape (rows,)."""
    code = np.zeros(len(days), dtype=np.int64)
    for place, covariate in enumerate(FLAGS.values()):
        code |= covariate.flag(days).astype(np.int64) << place
    return code


def flag_table() -> np.ndarray:
    """1 where the flag is raised in that cell, shape (cells, len(FLAGS))."""
    count = len(FLAGS)
    table = (np.arange(1 << count)[:, None] >> np.arange(count)[None, :]) & 1
    return table.astype(float)
