"""Cells of wear days: what does a wear day count, and which flags of covariates does it raise?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from solespan.forecast.covariates import FLAGS, Frame
from solespan.forecast.frames import STANDARD_HOURS_PER_WEAR_DAY
from solespan.forecast.priors import STEPS_PER_STANDARD_WEAR_DAY

__all__ = ["Frame", "base_exposure", "cells", "days_where", "flag_table"]


def base_exposure(days: Frame) -> np.ndarray:
    """Standard wear days before any multiplier: hours / 8, or steps / 7000, or 1 if neither.

    Parameters
    ----------
    days : DataFrame, or an array for each column
        Rows of `wear_days`.

    Returns
    -------
    ndarray, shape (rows,)
        Standard wear days on dry pavement.
    """
    hours = np.asarray(days["hours"], dtype=float)
    steps = np.asarray(days["steps"], dtype=float)
    from_steps = np.where(np.isnan(steps), 1.0, steps / STEPS_PER_STANDARD_WEAR_DAY)
    return np.where(np.isnan(hours), from_steps, hours / STANDARD_HOURS_PER_WEAR_DAY)


def days_where(days: pd.DataFrame, keep: np.ndarray) -> dict[str, np.ndarray]:
    """Take some rows of `wear_days`, an array for each column: a frame of them costs more."""
    return {str(name): days[name].to_numpy()[keep] for name in days}


def cells(days: Frame) -> np.ndarray:
    """Put each wear day into the cell of its flags: index into `flag_table`, shape (rows,)."""
    code = np.zeros(len(days["worn_on"]), dtype=np.int64)
    for place, covariate in enumerate(FLAGS.values()):
        code |= covariate.flag(days).astype(np.int64) << place
    return code


def flag_table() -> np.ndarray:
    """1 where the flag is raised in that cell, shape (cells, len(FLAGS))."""
    count = len(FLAGS)
    table = (np.arange(1 << count)[:, None] >> np.arange(count)[None, :]) & 1
    return table.astype(float)
